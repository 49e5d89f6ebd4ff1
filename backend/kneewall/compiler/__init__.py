"""Rule files to a bundle. Public: `compile_packs`, `CompileError`, `failures`."""

from kneewall.compiler.errors import CompileError, Fault
from kneewall.compiler.examples import failures
from kneewall.compiler.link import compile_packs

__all__ = ["CompileError", "Fault", "compile_packs", "failures"]
