"""What a hunt came to, in the terminal: what is wrong first, what was caught by step."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from benchrig.cli.study_text import StudyPage
from benchrig.cli.text_page import LONGEST
from benchrig.escapes.results import PASSED, About, Catch, Hunted, Result
from benchrig.escapes.telling import sentence, step_words, summary, told_by
from benchrig.faults.fault import WEIGHTS, Fault, Weight
from benchrig.source.problem import counted
from benchrig.text.escape import plain
from benchrig.text.tables import print_line, print_table

_STYLES = {"grave": "bold red", "serious": "red", "minor": "yellow"}
# More escapes than these are told in groups, without a sentence for each.
_FEW = 25
# Of those with one reason so many are named.
_NAMED = 3


class EscapesPage(StudyPage):
    def show(self, hunted: Hunted, *, at_length: bool) -> None:
        seeds = f"seeds {hunted.seeds[0]} to {hunted.seeds[-1]}" if len(hunted.seeds) > 1 else f"seed {hunted.seeds[0]}"
        self._head(hunted, seeds)
        if at_length:
            for result in hunted.results:
                self._at_length(result)
        else:
            self._wrong(hunted)
            self._escaped(hunted)
            self._caught(hunted)
            self._gaps(hunted)
            self._others(hunted)
        self._end(hunted)

    def faults(self, faults: Sequence[Fault]) -> None:
        rows = [((each.weight, each.family, each.name, each.says), "") for each in faults]
        print_table(self._console, ("weight", "family", "fault", "what is wrong"), rows)
        families = Counter(each.family for each in faults)
        by_family = ", ".join(f"{family} {count}" for family, count in sorted(families.items()))
        self._line(f"{counted(len(faults), 'fault')}: {by_family}")

    def _wrong(self, hunted: Hunted) -> None:
        """The loudest: what is noticed and put on whom it is not, and what benchrig could not try."""
        for outcome, title in (("blamed wrongly", "BLAMED WRONGLY"), ("failed", "NOT TRIED")):
            found = [each for each in hunted.results if each.outcome == outcome]
            if found:
                self._title(f"{title}  {len(found)}", "bold white on red")
                for each in found:
                    self._fault(each.fault)
                    self._line(sentence(each), indent=4, style="bold")

    def _escaped(self, hunted: Hunted) -> None:
        found = hunted.of(*PASSED)
        if not found:
            return
        weights = Counter(each.fault.weight for each in found)
        told = ", ".join(f"{weights[weight]} {weight}" for weight in WEIGHTS if weights[weight])
        self._title(f"ESCAPED  {len(found)}: {told}", "bold red")
        if len(found) > _FEW:
            self._grouped(hunted, found)
        for each in found if len(found) <= _FEW else ():
            self._fault(each.fault)
            self._line(each.fault.says, indent=4)
            if each.outcome == "by luck":
                self._line(f"caught by luck: {sentence(each)}", indent=4, style="yellow")
        self._line("What would catch them: --propose FILE. Which step notices what: --page FILE.", style="dim")

    def _grouped(self, hunted: Hunted, found: Sequence[Result]) -> None:
        """Of very many a line for each thing that is broken, with what is wrong with it."""
        groups: dict[tuple[Weight, str], list[str]] = {}
        for each in found:
            thing, _, kind = each.fault.name.partition(": ")
            luck = " (caught by luck)" * (each.outcome == "by luck")
            groups.setdefault((each.fault.weight, thing), []).append((kind or thing) + luck)
        for (weight, thing), kinds in groups.items():
            wrong = plain(", ".join(kinds), 10 * LONGEST)
            head = (f"{weight:<8} ", _STYLES[weight]), (f"{plain(thing, LONGEST)}: ", "bold")
            print_line(self._console, *head, (wrong, ""), hang=9)
        if blind := _never_caught(hunted):
            self._line(f"Nothing notices any fault of: {blind}.")
        self._line("What each means: --fault 'NAME: WHAT', or --list for all of them.", style="dim")

    def _fault(self, fault: About) -> None:
        weight = (f"{fault.weight:<8} ", _STYLES[fault.weight])
        print_line(self._console, weight, (plain(fault.name, LONGEST), "bold"), (f"  {fault.family}", "dim"))

    def _caught(self, hunted: Hunted) -> None:
        """By the step that noticed first, in the order of the plan; of each step by what in it."""
        caught = [each.by for each in hunted.of("caught") if each.by]
        if not caught:
            return
        self._title(f"CAUGHT  {len(caught)}, by the step that noticed first", "bold green")
        steps = Counter((each.node, each.step) for each in caught)
        order = {node.id: at for at, node in enumerate(hunted.nodes)}
        rows = [
            ((str(count), node, plain(step, LONGEST), _readings(caught, node)), "")
            for (node, step), count in sorted(steps.items(), key=lambda item: _place(item[0][0], order))
        ]
        print_table(self._console, ("faults", "step", "", "by"), rows, right=("faults",))

    def _gaps(self, hunted: Hunted) -> None:
        """Steps that are of no use here, and what is promised and not proven."""
        if hunted.coverage is None:
            return
        if idle := hunted.coverage.idle:
            self._title(f"STEPS THAT NOTICED NOTHING  {len(idle)}", "bold yellow")
            for each in idle:
                self._line(f"{each.node} {each.name}", indent=2)
            if not hunted.whole:
                self._line("An earlier step may have noticed what they would: --whole tells.", style="dim")
        if lacking := [each for each in hunted.coverage.requirements if each.lacks]:
            self._title(f"REQUIREMENTS NOT COVERED  {len(lacking)}", "bold red")
            for one in lacking:
                self._line(f"{one.id} {one.says}", indent=2)
                self._line(one.lacks, indent=4)

    def _others(self, hunted: Hunted) -> None:
        for outcome, title in (("left", "LEFT TO ANOTHER PLAN"), ("argued", "ARGUED"), ("harmless", "HARMLESS"),
                               ("not applicable", "NOT APPLICABLE")):  # fmt: skip
            found = [each for each in hunted.results if each.outcome == outcome]
            if not found:
                continue
            self._title(f"{title}  {len(found)}", "bold")
            reasons: dict[str, list[str]] = {}
            for each in found:
                reasons.setdefault(sentence(each), []).append(each.fault.name)
            for why, names in reasons.items():
                self._line(f"{len(names):>4}  {why}")
                self._line(_some(names), indent=6, style="dim")

    def _at_length(self, result: Result) -> None:
        self._title(result.outcome.upper(), "bold green" if result.outcome == "caught" else "bold red")
        self._fault(result.fault)
        self._line(result.fault.says, indent=4)
        self._line(sentence(result), indent=4)
        for trial in result.trials:
            if trial.by is None:
                self._line(f"seed {trial.seed}: pass after {trial.elapsed:.3f} s", indent=4)
                continue
            self._line(
                f"seed {trial.seed}: {trial.verdict}, cause {trial.by.cause}, after {trial.elapsed:.3f} s", indent=4
            )
            self._noticed([trial.by, *trial.also])

    def _noticed(self, catches: Iterable[Catch]) -> None:
        for each in catches:
            times = f" ({each.times} times)" if each.times > 1 else ""
            self._line(f"{step_words(each)}{times}: {each.message}", indent=6)

    def _end(self, hunted: Hunted) -> None:
        self._console.print()
        for sentences, mark in ((hunted.stale, "stale"), (hunted.notes, "note")):
            for each in sentences:
                self._line(f"{mark}: {each}", style="yellow")
        if hunted.interrupted:
            self._line(
                f"INTERRUPTED: {len(hunted.results)} of {counted(hunted.asked, 'fault')} tried", style="bold red"
            )
        self._line(summary(hunted), style="bold")


def _never_caught(hunted: Hunted) -> str:
    """'note (24), log interval (45)': what the plan does not look at, the most faults first."""
    faults, caught = Counter[str](), set[str]()
    for each in hunted.of("caught", *PASSED):
        thing, colon, _ = each.fault.name.partition(": ")
        faults[thing] += bool(colon)
        caught |= {thing} if each.outcome == "caught" else set()
    return ", ".join(f"{thing} ({count})" for thing, count in faults.most_common() if count > 1 and thing not in caught)


def _some(names: Sequence[str]) -> str:
    """'a, b, c and 7 others'."""
    more = len(names) - _NAMED
    return ", ".join(names) if more <= 1 else f"{', '.join(names[:_NAMED])} and {more} others"


def _readings(caught: Sequence[Catch], node: str) -> str:
    """'value 12, cause device 9, att_error 3'."""
    found = Counter(told_by(each) for each in caught if each.node == node)
    return ", ".join(f"{plain(name, LONGEST)} {count}" for name, count in found.most_common())


def _place(node: str, order: dict[str, int]) -> tuple[int, list[str]]:
    top, *inner = node.split(".")
    return order.get(top, -1), [each.rjust(6) for each in inner]
