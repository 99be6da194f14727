"""Requirements as their users write them, a file a subject: every module with REQUIREMENTS is one, by being there."""

import importlib
import pkgutil

from tests.requirements.kit import Requirement

_MODULES = [importlib.import_module(f"{__name__}.{each.name}") for each in pkgutil.iter_modules(__path__)
            if not each.name.startswith("test_")]  # fmt: skip
ALL: list[Requirement] = [one for module in _MODULES for one in getattr(module, "REQUIREMENTS", [])]
