"""Reading bench and plan files: bytes on disk to frozen descriptions, or every mistake at once.

No content of a file raises anything but DescriptionError.
"""

import os
from collections.abc import Callable, Container, Sequence
from dataclasses import dataclass
from os import PathLike
from typing import TypeVar

from hil.alarms.finding import Finding, Severity
from hil.alarms.review import review
from hil.alarms.spec import Spec
from hil.core.collecting import no_collection
from hil.core.error import DescriptionError, Mark, Mistake
from hil.core.event import KnownFault
from hil.core.plan import Plan
from hil.files.alarm_carry import longest_carry
from hil.files.alarm_file import read_alarms_tree
from hil.files.alarm_shape import ALARMS
from hil.files.bench_file import read_bench
from hil.files.bench_shape import BENCH
from hil.files.foreign import made_short
from hil.files.form import check_form
from hil.files.kind import FileKind, is_another, kind_of
from hil.files.known_file import read_known_tree
from hil.files.known_shape import KNOWN
from hil.files.mistake import Page, nearest
from hil.files.plan_file import benches_of, read_plan_tree
from hil.files.plan_shape import PLAN
from hil.files.scope import Scope
from hil.files.text import read_text
from hil.files.tree import Node, read_tree
from hil.wire.rack import Rack

T = TypeVar("T")
Path = str | PathLike[str]

_SHAPES = {
    FileKind.BENCH: BENCH,
    FileKind.PLAN: PLAN,
    FileKind.ALARMS: ALARMS,
    FileKind.KNOWN: KNOWN,
}


def read_rack(path: Path) -> Rack:
    """Read a bench file.  Raises DescriptionError with every mistake in it."""
    return _rack_of(_load(path))


def read_rack_for(path: Path, files: Sequence[Path]) -> Rack:
    """Read the bench file that other files are for.

    Raises DescriptionError with every mistake in it; where there are any, what the others mean cannot
    be known, and the mistakes in their form come with them.
    """
    try:
        return read_rack(path)
    except DescriptionError as error:
        formal = [mistake for file in files for mistake in _formal(file)]
        raise DescriptionError([*error.mistakes, *formal]) from error


def _formal(path: Path) -> Sequence[Mistake]:
    """Return the mistakes of form in a file of any kind."""
    try:
        page = _load(path)
    except DescriptionError as error:
        return error.mistakes
    root = read_tree(page) if read_text(page) else None
    if root is not None:
        check_form(_SHAPES[kind_of(path)], root, page, "")
    return page.mistakes


def read_rack_text(text: str, file: str) -> Rack:
    """Read a bench file whose text is at hand.  Raises DescriptionError with every mistake."""
    return _rack_of(Page(file, text.encode("utf-8", "backslashreplace")))


def _rack_of(page: Page) -> Rack:
    with no_collection():
        rack = _read_page(page, FileKind.BENCH, read_bench)
    if rack is None or page.mistakes:
        raise DescriptionError(page.mistakes)
    return rack


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Plans that may run, what is odd about them, and which files are for other benches."""

    plans: tuple[Plan, ...]
    warnings: tuple[Mistake, ...]
    elsewhere: tuple[tuple[str, tuple[str, ...]], ...] = ()

    @property
    def passed_over(self) -> str:
        """Say which files are for other benches; nothing where none is."""
        files: dict[tuple[str, ...], list[str]] = {}
        for file, names in self.elsewhere:
            files.setdefault(names, []).append(file)
        shown = ", ".join(
            f"{', '.join(each) if len(each) <= 3 else f'{len(each)} plans'} ({' or '.join(names)})"
            for names, each in files.items()
        )
        return f"passed over, for other benches: {shown}" if shown else ""


def read_plan(path: Path, rack: Rack) -> Plan:
    """Read one plan file.  Raises DescriptionError with every mistake in it."""
    return read_plans([path], rack)[0]


def read_plans(paths: Sequence[Path], rack: Rack) -> tuple[Plan, ...]:
    """Read plan files.  Raises DescriptionError with every mistake in all of them."""
    return read_plans_with_warnings(paths, rack).plans


def read_plans_with_warnings(
    paths: Sequence[Path],
    rack: Rack,
    asked: Container[Path] | None = None,
    *,
    alone: bool = True,
) -> Reading:
    """Read plan files, and say what is odd about them as well.

    Plans for other benches are passed over; those `asked` for by name (all, where that is not
    said) must be for this one, and where these plans stand `alone` so must one of them.  Raises
    DescriptionError with every mistake and every warning in all of them, in the order of file, line
    and column.
    """
    plans: list[Plan] = []
    mistakes: list[Mistake] = []
    warnings: list[Mistake] = []
    elsewhere: list[tuple[str, tuple[str, ...]]] = []
    with no_collection():
        scope = Scope(rack)
        for path in paths:
            try:
                page = _load(path)
            except DescriptionError as error:
                mistakes += error.mistakes
                continue
            root = read_tree(page) if read_text(page) else None
            names = () if root is None else benches_of(root)
            if names and rack.name not in names:
                elsewhere.append((page.file, names))
                if asked is None or path in asked:
                    mistakes.append(_for_another(page, names, rack))
                continue
            plan = None
            if root is not None and not is_another(root, FileKind.PLAN, page):
                plan = read_plan_tree(root, page, scope)
            mistakes += made_short(page, rack)
            warnings += page.warnings
            if plan is not None:
                plans.append(plan)
    if alone and paths and len(elsewhere) == len(paths) and not mistakes:
        mistakes += [_for_another(Page(file, b""), names, rack) for file, names in elsewhere]
    _check_unlike(plans, mistakes)
    if mistakes:
        raise DescriptionError(sorted(mistakes + warnings))
    return Reading(plans=tuple(plans), warnings=tuple(sorted(warnings)), elsewhere=tuple(elsewhere))


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmReading:
    """The specs of alarm spec files, each with everything the review finds about it."""

    reviewed: tuple[tuple[Spec, tuple[Finding, ...]], ...]

    @property
    def specs(self) -> tuple[Spec, ...]:
        """The specs in the order of the files."""
        return tuple(spec for spec, _ in self.reviewed)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings, the accepted ones too."""
        return tuple(finding for _, findings in self.reviewed for finding in findings)

    @property
    def errors(self) -> tuple[Mistake, ...]:
        """The findings for which a spec cannot be carried out or proven as written."""
        return tuple(
            Mistake(one.mark, f"{one.code}: {one.why}", one.advice)
            for one in self.findings
            if one.severity is Severity.ERROR
        )


def read_alarms(path: Path, rack: Rack) -> tuple[Spec, ...]:
    """Read an alarm spec file that may be proven.

    Raises DescriptionError with every mistake in it and every error that the review finds.
    """
    reading = _read_reviewed([path], rack, refuse=True)
    return reading.specs


def read_alarms_with_findings(paths: Sequence[Path], rack: Rack) -> AlarmReading:
    """Read alarm spec files and review them.

    Raises DescriptionError with every mistake in all of them, together with the errors that the
    review finds in what could be read; without a mistake, errors are findings like others.
    """
    return _read_reviewed(paths, rack, refuse=False)


def read_alarms_in_own_units(path: Path, rack: Rack) -> tuple[Spec, ...]:
    """Read an alarm spec file for a comparison: levels in the unit each spec states."""
    with no_collection():
        page = _load(path)
        specs = _read_page(
            page,
            FileKind.ALARMS,
            lambda root, page: read_alarms_tree(root, page, Scope(rack), True),
        )
    if page.mistakes:
        raise DescriptionError(page.mistakes)
    return specs or ()


def read_known(path: Path, rack: Rack) -> tuple[KnownFault, ...]:
    """Read a file of known faults.  Raises DescriptionError with every mistake in it."""
    with no_collection():
        page = _load(path)
        known = _read_page(
            page, FileKind.KNOWN, lambda root, page: read_known_tree(root, page, Scope(rack))
        )
    if page.mistakes:
        raise DescriptionError(page.mistakes)
    return known or ()


def _read_reviewed(paths: Sequence[Path], rack: Rack, *, refuse: bool) -> AlarmReading:
    specs: list[Spec] = []
    mistakes: list[Mistake] = []
    with no_collection():
        scope = Scope(rack)
        for path in paths:
            try:
                page = _load(path)
            except DescriptionError as error:
                mistakes += error.mistakes
                continue
            found = _read_page(
                page, FileKind.ALARMS, lambda root, page: read_alarms_tree(root, page, scope)
            )
            specs += found or ()
            mistakes += page.mistakes
    reading = AlarmReading(reviewed=tuple((spec, _review(spec, rack, scope)) for spec in specs))
    if mistakes or (refuse and reading.errors):
        raise DescriptionError(sorted([*mistakes, *reading.errors]))
    return reading


def _review(spec: Spec, rack: Rack, scope: Scope) -> tuple[Finding, ...]:
    return review(spec, scope.signals[spec.signal], scope.signals, longest_carry(spec, rack))


def _for_another(page: Page, names: Sequence[str], rack: Rack) -> Mistake:
    what = f"this plan is for the bench {' or '.join(names)}, the bench here is {rack.name}"
    return Mistake(Mark(page.file, 1, 1), what, "name its bench file with --bench")


def _check_unlike(plans: list[Plan], mistakes: list[Mistake]) -> None:
    """Refuse two plans with one title: reports could not tell their cases apart."""
    first: dict[str, Plan] = {}
    for plan in plans:
        other = first.setdefault(plan.title, plan)
        if other is not plan:
            what = f"the plan `{plan.title}` has the title of {other.file}"
            mistakes.append(Mistake(Mark(plan.file, 1, 1), what, "give it a title of its own"))


def _load(path: Path) -> Page:
    try:
        with open(path, "rb") as file:
            return Page(str(path), file.read())
    except OSError as error:
        what = f"cannot be read: {error.strerror or error}"
        raise DescriptionError([Mistake(Mark(str(path)), what, _like(str(path)))]) from error


def _like(path: str) -> str:
    """Return the file most like one that is not there, or say that its folder is not."""
    folder, name = os.path.split(path)
    if folder and not os.path.isdir(folder):
        return f"there is no folder {folder} here; name the file as it is seen from this folder"
    try:
        near = nearest(name, os.listdir(folder or "."))
    except OSError:
        return ""
    return os.path.join(folder, near) if near and near != name else ""


def _read_page(page: Page, kind: FileKind, read: Callable[[Node, Page], T | None]) -> T | None:
    if not read_text(page):
        return None
    root = read_tree(page)
    return None if root is None or is_another(root, kind, page) else read(root, page)
