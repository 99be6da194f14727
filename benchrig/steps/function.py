"""A function that the plan brings: where it is, and where in it an exception came from."""

from __future__ import annotations

import importlib
import importlib.util
import sys
import traceback
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

from benchrig.errors import BenchrigError, StationError, UsageError


def load_function(name: str, folder: Path) -> Callable[..., Any]:
    """The function 'module:function', looked for beside the plan first."""
    module, _, attribute = name.partition(":")
    try:
        function = getattr(_module(module, folder), attribute, None)
    except BenchrigError:
        raise
    except ModuleNotFoundError as exc:
        raise StationError(f"call {name}: {exc}", advice="put the module beside the plan, or install it") from exc
    except BaseException as exc:
        raise raised(f"call {name}: importing '{module}'", exc) from exc
    if not callable(function):
        what = "has no function" if function is None else "has something else as"
        raise UsageError(f"call {name}: module '{module}' {what} '{attribute}'")
    return function  # type: ignore[no-any-return]


def raised(what: str, error: BaseException, function: Callable[..., Any] | None = None) -> UsageError:
    """The exception of a function as a mistake of the plan, with the line of the function that it came from."""
    place = _place(error, function)
    text = str(error) or "no message"
    return UsageError(f"{what} raised {type(error).__name__}: {text}{place}", advice="fix the function")


def placed(error: UsageError, function: Callable[..., Any]) -> UsageError:
    """What a function did with the bench that makes no sense, with its line."""
    return UsageError(f"{error.message}{_place(error, function)}", advice=error.advice)


def _place(error: BaseException, function: Callable[..., Any] | None) -> str:
    """' (file:line)': the last line of code that somebody wrote for the bench, else where the function begins."""
    if isinstance(error, SyntaxError) and error.filename:
        return f" ({Path(error.filename).name}:{error.lineno})"
    code = getattr(function, "__code__", None)
    frames = [(frame.filename, frame.lineno) for frame in traceback.extract_tb(error.__traceback__)]
    own = [frame for frame in frames if _is_own(frame[0])]
    if not own and code:
        own = [frame for frame in frames if frame[0] == code.co_filename] or [(code.co_filename, code.co_firstlineno)]
    return f" ({Path(own[-1][0]).name}:{own[-1][1]})" if own else ""


_STANDARD, _OURS = Path(traceback.__file__).parent, Path(__file__).parents[1]
_INSTALLED = {"site-packages", "dist-packages"}


def _is_own(file: str) -> bool:
    """Whether it belongs neither to what is installed nor to benchrig."""
    path = Path(file)
    ours = any(path.is_relative_to(place) for place in (_STANDARD, _OURS))
    return not (file.startswith("<") or ours or _INSTALLED & {*path.parts})


def _module(name: str, folder: Path) -> ModuleType:
    """The module beside the plan by its file, so that it hides no other of its name; else an installed one."""
    if str(folder) not in sys.path:
        sys.path.append(str(folder))  # last: for what stands beside it, and hides nothing
    top, _, rest = name.partition(".")
    file = next((f for f in (folder / f"{top}.py", folder / top / "__init__.py") if f.is_file()), None)
    if file is None:
        return importlib.import_module(name)
    module = _by_file(top, file)
    return importlib.import_module(f"{module.__name__}.{rest}") if rest else module


def _by_file(name: str, file: Path) -> ModuleType:
    own = f"plan_{name}"
    for known in (sys.modules.get(name), sys.modules.get(own)):
        if known is not None and getattr(known, "__file__", None) == str(file):
            return known
    # a name that another module has, or could be asked for under, is left to it
    taken = name in sys.modules or name in sys.stdlib_module_names
    name = own if taken else name
    spec = importlib.util.spec_from_file_location(name, file, submodule_search_locations=_inside(file))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
    except BaseException:
        del sys.modules[name]
        raise
    return module


def _inside(file: Path) -> list[str] | None:
    return [str(file.parent)] if file.name == "__init__.py" else None
