"""The rule engine: bundle and values in, results out. It knows no word of the trade."""

from kneewall.engine.engine import Answer, CheckResult, Engine
from kneewall.engine.unknown import Unknown

__all__ = ["Answer", "CheckResult", "Engine", "Unknown"]
