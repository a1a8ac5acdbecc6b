"""Many teams or judges at once: paste or upload, look, confirm."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.contrib import messages
from django.core import signing
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from contest.access import for_parts
from contest.forms.people import ListForm
from contest.models import Contest
from contest.services import imports
from contest.tablefile import Rows, TableFileError, empty_csv, empty_workbook, read_file, read_lines, to_lines

WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@dataclass(frozen=True)
class Kind:
    """What differs between a list of teams and one of judges."""

    name: str  # plural
    back: str
    columns: Sequence[str]
    hints: Sequence[str]
    example: str
    check: Callable[[Contest, Rows], imports.Preview]
    write: Callable[..., int]

    @property
    def legend(self) -> list[tuple[str, str]]:
        return list(zip(self.columns, self.hints, strict=True))


KINDS = {
    "teams": Kind(
        name="teams",
        back="contest:teams",
        columns=list(imports.TEAM_COLUMNS),
        hints=imports.TEAM_HINTS,
        example="1, Team Alder, Cook Alder, Example Town\n2, Team Birch\nTeam Cedar",
        check=imports.check_teams,
        write=imports.import_teams,
    ),
    "judges": Kind(
        name="judges",
        back="contest:judges",
        columns=list(imports.JUDGE_COLUMNS),
        hints=imports.JUDGE_HINTS,
        example="Judge Larch, 12\nJudge Maple, 3, 7; 9\nJudge Rowan",
        check=imports.check_judges,
        write=imports.import_judges,
    ),
}


@require_http_methods(["GET", "POST"])
@for_parts("organiser")
def team_import(request: HttpRequest, contest: Contest) -> HttpResponse:
    return _import(request, contest, KINDS["teams"])


@require_http_methods(["GET", "POST"])
@for_parts("organiser")
def judge_import(request: HttpRequest, contest: Contest) -> HttpResponse:
    return _import(request, contest, KINDS["judges"])


@require_GET
@for_parts("organiser")
def empty_table(request: HttpRequest, contest: Contest, kind: str, ending: str) -> HttpResponse:
    """A table to fill in."""
    if kind not in KINDS or ending not in ("csv", "xlsx"):
        raise Http404("No such file.")
    asked = KINDS[kind]
    if ending == "csv":
        answer = HttpResponse(empty_csv(asked.columns), content_type="text/csv; charset=utf-8")
    else:
        answer = HttpResponse(empty_workbook(kind.capitalize(), asked.columns, asked.hints), content_type=WORKBOOK)
    answer["Content-Disposition"] = f'attachment; filename="{kind}.{ending}"'
    return answer


def _salt(contest: Contest, kind: Kind) -> str:
    return f"import of {kind.name} into {contest.uid}"


def _import(request: HttpRequest, contest: Contest, kind: Kind) -> HttpResponse:
    if request.method == "POST" and "shown" in request.POST:
        return _confirm(request, contest, kind)
    form = ListForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        try:
            rows = _rows(form)
        except TableFileError as error:
            form.add_error("file" if form.cleaned_data["file"] else "text", str(error))
        else:
            return _preview(request, contest, kind, rows, kind.check(contest, rows))
    return _page(request, contest, kind, form)


def _rows(form: ListForm) -> Rows:
    file = form.cleaned_data["file"]
    if file:
        return read_file(file.name, file.read())
    return read_lines(form.cleaned_data["text"])


def _page(request: HttpRequest, contest: Contest, kind: Kind, form: ListForm, **more: object) -> HttpResponse:
    context = {"contest": contest, "kind": kind, "form": form, **more}
    refused = bool(form.errors) or bool(more.get("changed"))
    return render(request, "contest/import.html", context, status=422 if refused else 200)


def _preview(
    request: HttpRequest, contest: Contest, kind: Kind, rows: Rows, preview: imports.Preview, **more: object
) -> HttpResponse:
    """Every row with what will happen to it; the rows themselves travel signed, so nothing is uploaded twice."""
    text = to_lines(rows)
    shown = {"text": text, "notes": rows.notes, "good": preview.good_numbers}
    return _page(
        request,
        contest,
        kind,
        ListForm(initial={"text": text}),
        preview=preview,
        shown=signing.dumps(shown, salt=_salt(contest, kind), compress=True),
        **more,
    )


def _confirm(request: HttpRequest, contest: Contest, kind: Kind) -> HttpResponse:
    try:
        shown = signing.loads(request.POST["shown"], salt=_salt(contest, kind))
    except signing.BadSignature:
        form = ListForm({})
        form.add_error(None, "The list did not come back as it was shown. Nothing was imported: paste it again.")
        return _page(request, contest, kind, form)
    rows = Rows(read_lines(shown["text"]).cells, shown["notes"])
    try:
        number = kind.write(contest=contest, rows=rows, shown=shown["good"])
    except imports.Changed as changed:
        return _preview(request, contest, kind, rows, changed.preview, changed=True)
    except ValidationError as error:
        form = ListForm({"text": shown["text"]})
        form.add_error(None, error)
        return _page(request, contest, kind, form)
    left_out = len(kind.check(contest, rows).rows) - number
    text = f"{number} {kind.name} imported." + (f" {left_out} left out." if left_out else "")
    messages.success(request, text)
    return redirect(kind.back, contest.slug)
