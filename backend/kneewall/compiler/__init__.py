"""Rule files to a bundle. Public: `compile_packs`, `Kept`, `CompileError`, `failures`."""

from kneewall.compiler.errors import CompileError, Fault
from kneewall.compiler.examples import failures
from kneewall.compiler.kept import Kept
from kneewall.compiler.link import compile_packs

__all__ = ["CompileError", "Fault", "Kept", "compile_packs", "failures"]
