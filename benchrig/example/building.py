"""How the plans that ship get into the wheel: they are beside the package in the repository, and in it where it is
installed.

Run by setuptools (`cmdclass` in pyproject.toml), which loads this file without the package around it.
"""

from __future__ import annotations

from pathlib import Path

from setuptools.command.build_py import build_py

PLANS = "testplans"
SUFFIXES = (".yaml", ".md", ".py")  # those of placing.py


class BuildWithPlans(build_py):
    """The package, with the plans in the folder where `placing.py` looks for them."""

    def run(self) -> None:
        super().run()
        if not self.editable_mode:
            for source, target in self.plans().items():
                self.mkpath(str(Path(target).parent))
                self.copy_file(source, target)

    def plans(self) -> dict[str, str]:
        """Each file of the plans, and where it is built."""
        files = sorted(path for path in Path(PLANS).rglob("*") if path.suffix in SUFFIXES)
        inside = Path(self.build_lib, "benchrig", "example")
        return {path.as_posix(): str(inside / path) for path in files}

    def get_source_files(self) -> list[str]:
        return [*super().get_source_files(), *self.plans()]

    def get_outputs(self, include_bytecode: bool = True) -> list[str]:
        built = [] if self.editable_mode else self.plans().values()
        return [*super().get_outputs(include_bytecode), *built]
