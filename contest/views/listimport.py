"""Many rows at once on any page: paste or upload, look at every row, confirm. And the empty table to fill in."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.core import signing
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import render

from contest.access import Request
from contest.exports import XLSX_TYPE
from contest.forms.people import ListForm
from contest.services.imports import Changed, Preview
from contest.tablefile import Rows, TableFileError, empty_csv, empty_workbook, read_file, read_lines, to_lines


@dataclass(frozen=True)
class ListImport:
    """A list on its way in.

    `about` says what is imported into what: a list that was shown is signed with it and is good for nothing else.
    `write(rows, numbers of the rows shown as good)` answers how many rows it kept; it raises Changed where other rows
    are good by now. `done(kept, left out)` is the answer at the end.
    """

    about: str
    check: Callable[[Rows], Preview]
    write: Callable[[Rows, Sequence[int]], int]
    done: Callable[[int, int], HttpResponse]
    template: str
    context: Mapping[str, Any]

    def answer(self, request: Request) -> HttpResponse:
        """The page, what each row would do, or the list imported."""
        if request.method == "POST" and "shown" in request.POST:
            return self._confirm(request)
        form = ListForm(request.POST or None, request.FILES or None)
        if request.method == "POST" and form.is_valid():
            file = form.cleaned_data["file"]
            try:
                rows = read_file(file.name, file.read()) if file else read_lines(form.cleaned_data["text"])
            except TableFileError as error:
                form.add_error("file" if file else "text", str(error))
            else:
                return self._preview(request, rows, self.check(rows))
        return self._page(request, form)

    def _page(self, request: Request, form: ListForm, **more: Any) -> HttpResponse:
        refused = bool(form.errors) or bool(more.get("changed"))
        context = {**self.context, "form": form, **more}
        return render(request, self.template, context, status=422 if refused else 200)

    def _preview(self, request: Request, rows: Rows, preview: Preview, **more: Any) -> HttpResponse:
        """Every row with what will happen to it; the rows themselves travel signed, so nothing is uploaded twice."""
        text = to_lines(rows)
        shown = {"text": text, "notes": rows.notes, "good": preview.good_numbers}
        signed = signing.dumps(shown, salt=self.about, compress=True)
        return self._page(request, ListForm(initial={"text": text}), preview=preview, shown=signed, **more)

    def _confirm(self, request: Request) -> HttpResponse:
        try:
            shown = signing.loads(request.POST["shown"], salt=self.about)
        except signing.BadSignature:
            form = ListForm({})
            form.add_error(None, "The list did not come back as it was shown. Nothing was imported: paste it again.")
            return self._page(request, form)
        rows = Rows(read_lines(shown["text"]).cells, shown["notes"])
        try:
            kept = self.write(rows, shown["good"])
        except Changed as changed:
            return self._preview(request, rows, changed.preview, changed=True)
        except ValidationError as error:
            form = ListForm({"text": shown["text"]})
            form.add_error(None, error)
            return self._page(request, form)
        return self.done(kept, len(self.check(rows).rows) - kept)


def empty_table_answer(
    name: str, title: str, columns: Sequence[str], hints: Sequence[str], ending: str
) -> HttpResponse:
    """A table with headings alone, as `csv` or `xlsx`; 404 for another ending."""
    if ending == "csv":
        answer = HttpResponse(empty_csv(columns), content_type="text/csv; charset=utf-8")
    elif ending == "xlsx":
        answer = HttpResponse(empty_workbook(title, columns, hints), content_type=XLSX_TYPE)
    else:
        raise Http404("No such file.")
    answer["Content-Disposition"] = f'attachment; filename="{name}.{ending}"'
    return answer
