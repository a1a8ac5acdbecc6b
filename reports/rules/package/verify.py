"""Checking a results package: every claim it makes is worked out again from its own files.

`verify` answers with findings in words. What no file can prove, that no one talked, that labels were put on as drawn
and that sheets were entered as written, it does not claim.
"""

from collections.abc import Callable, Iterator, Mapping

from contest.rules.draw.commitment import read_sum
from reports.rules.package.archive import FILES, FORMAT, SUMS, package_sum, sha256, sums_text
from reports.rules.package.draw_checks import check_draw, check_names
from reports.rules.package.log_checks import check_logs, check_publication
from reports.rules.package.opened import Finding, OpenedPackage
from reports.rules.package.result_checks import check_inputs, check_owners, check_scores, check_standings

__all__ = ["UNPROVEN", "Finding", "verify"]

UNPROVEN = (
    "Without a value noted on the day, this only shows that the package agrees with itself: it cannot show that the"
    " package was not replaced as a whole."
)
"""What a check without `draw`, `log` and `whole` could not find out."""


def verify(
    files: Mapping[str, bytes], *, draw: str | None = None, log: str | None = None, whole: str | None = None
) -> list[Finding]:
    """Check a package's files (name → content) and return the findings in their order.

    `draw` is the fingerprint of the draw, `log` the hash of any row of a log, `whole` the sum of the package, each in
    full or in its short form, as noted on the day. Raises ValueError for a value that is neither.
    """
    noted = {name: value and read_sum(value) for name, value in (("draw", draw), ("log", log), ("whole", whole))}
    package = OpenedPackage(files)
    findings = list(_read("The format", lambda: _format(package)))
    if findings:
        return findings
    checks: list[tuple[str, Callable[[], Iterator[Finding]]]] = [
        ("The files", lambda: _files(package, noted["whole"])),
        ("The draw", lambda: check_draw(package, noted["draw"])),
        ("The names", lambda: check_names(package)),
        ("The logs", lambda: check_logs(package, noted["log"])),
        ("The publication", lambda: check_publication(package)),
        ("The owners of the boxes", lambda: check_owners(package)),
        ("The scores", lambda: check_scores(package)),
        ("The scoring data", lambda: check_inputs(package)),
        ("The standings", lambda: check_standings(package)),
    ]
    for name, check in checks:
        findings.extend(_read(name, check))
    return findings


def _read(name: str, check: Callable[[], Iterator[Finding]]) -> Iterator[Finding]:
    """Yield what a check finds; a file that cannot be read fails with the reason."""
    try:
        yield from check()
    except RecursionError:
        yield Finding(False, f"{name}: nested too deeply to be read.")
    except (ValueError, KeyError, TypeError, IndexError, AttributeError, ArithmeticError) as error:
        reason = f"{error.args[0]!r} is missing" if isinstance(error, KeyError) else str(error)
        yield Finding(False, f"{name}: cannot be read ({reason}).")


def _format(package: OpenedPackage) -> Iterator[Finding]:
    """A package of another format is refused by its name: its rules are not those of this program."""
    named = package.facts.get("format")
    if named != FORMAT:
        yield Finding(False, f"This package is of format {named}; this program reads {FORMAT}.")


def _files(package: OpenedPackage, noted: str | None) -> Iterator[Finding]:
    files = package.files
    if noted is not None:
        full = package_sum(files)
        same = full.startswith(noted)
        yield Finding(same, f"The sum of this package is {full}, {'as' if same else 'not what'} was noted on the day.")
    expected = {*FILES, *package.publics, *(f"rules/{key}.toml" for key in package.rules)}
    missing, unknown = sorted(expected - set(files)), sorted(set(files) - expected)
    if missing:
        yield Finding(False, f"Files are missing: {', '.join(missing)}.")
    if unknown:
        yield Finding(False, f"Files that belong to no results package: {', '.join(unknown)}.")
    if untidy := package.untidy():
        yield Finding(False, f"Not written as the format says, to the byte: {', '.join(untidy)}.")
    stated = package.text(SUMS)
    if stated == sums_text(files):
        yield Finding(True, f"All {len(files) - 1} files agree with {SUMS}.")
    else:
        sums = {name: digits for digits, _, name in (line.partition("  ") for line in stated.splitlines())}
        names = sorted({*sums, *files} - {SUMS})
        wrong = [name for name in names if name not in files or sums.get(name) != sha256(files[name])]
        yield Finding(False, f"Changed, missing or added: {', '.join(wrong) or SUMS}.")
