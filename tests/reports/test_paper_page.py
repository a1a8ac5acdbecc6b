"""The print page: what it offers, its options, and the same sheets where no PDF can be made."""

import base64
import struct
from fractions import Fraction
from types import SimpleNamespace

import pytest

from contest.qr import qr_svg
from reports.models import PrintJob
from reports.paper import pdf, views
from reports.paper.after import chart_of
from reports.paper.catalogue import PAPERS, printable
from reports.paper.grids import GRIDS, PAGES, Grid, GridError
from reports.paper.sheet import qr_picture
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    return factories.make_drawn(teams=6, tables=2)


def test_every_grid_fits_its_page() -> None:
    for sizes in GRIDS.values():
        for page, grid in sizes.items():
            grid.check(page)
            assert grid.a_page in (30, 14)
    assert PAGES["letter"] == (215.9, 279.4)  # 8.5 by 11 inches
    with pytest.raises(GridError, match=r"the page is 297\.0 mm high"):
        Grid(3, 11, width=60, height=28, left=0, top=0).check("a4")


def test_shift_and_scale_move_every_label_alike() -> None:
    grid = GRIDS["2x7"]["a4"].corrected(right=1.5, down=-2.0, scale=0.99)
    assert grid.lefts()[0] == pytest.approx(4.65 * 0.99 + 1.5, abs=0.001)
    assert grid.tops()[6] - grid.tops()[5] == pytest.approx(38.1 * 0.99, abs=0.002)


def test_options_that_do_not_fit_are_named_and_kept(contest) -> None:
    client = factories.client_for(contest, "desk")
    typed = {
        "what": "labels",
        "size": "a4",
        "grid": "custom",
        "columns": "4",
        "rows": "8",
        "width": "64",
        "height": "30",
    }
    answer = client.post(f"/c/{contest.slug}/paper/print/", typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "the page is 210.0 mm wide" in page
    assert 'value="4"' in page
    assert not PrintJob.objects.exists()
    typed["columns"] = "3"
    assert client.post(f"/c/{contest.slug}/paper/print/", typed).status_code == 302
    kept = PrintJob.objects.get().options
    assert (kept["columns"], kept["width"], kept["left"]) == (3, 64.0, 8.0)


def test_packets_come_in_the_order_in_which_they_are_needed(contest) -> None:
    page = factories.client_for(contest, "organiser").get(f"/c/{contest.slug}/paper/").content.decode()
    assert page.index("Cooks’ packet") < page.index("Judges’ packet")
    assert "Desk packet" not in page
    desk = factories.client_for(contest, "desk pass").get(f"/c/{contest.slug}/paper/").content.decode()
    assert "Desk packet, sealed" in desk
    assert "Judges’ packet" not in desk


def test_without_the_libraries_the_same_sheets_open_for_the_browser(contest, monkeypatch) -> None:
    monkeypatch.setattr(views, "can_print", lambda: False)
    client = factories.client_for(contest, "organiser")
    page = client.get(f"/c/{contest.slug}/paper/").content.decode()
    assert "apt-get install libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core" in page
    assert f'formaction="/c/{contest.slug}/paper/sheets/score/"' in page
    for part in ("organiser", "desk"):
        client = factories.client_for(contest, part)
        for each in printable(contest, frozenset({part})):
            shown = client.get(f"/c/{contest.slug}/paper/sheets/{each.key}/", {"size": "letter"})
            html = shown.content.decode()
            assert shown.status_code == 200
            assert " style=" not in html  # the content security policy would drop it
            assert "<style" not in html
            css = client.get(f"/c/{contest.slug}/paper/rules/{each.key}.css", {"size": "letter"})
            assert css["Content-Type"] == "text/css; charset=utf-8"
            assert "215.9mm 279.4mm" in css.content.decode()
    score = factories.client_for(contest, "tally").get(f"/c/{contest.slug}/paper/sheets/score/").content.decode()
    assert score.count('class="paper score') == 2 * 2 * 6


def test_packages_named_are_the_ones_that_print() -> None:
    assert pdf.can_print(), f"install {pdf.PACKAGES}"


def test_a_contest_name_cannot_break_out_of_the_page_rules(contest) -> None:
    contest.name = '"} @page { size: 1mm } \\ <b>'
    contest.save()
    css = factories.client_for(contest, "tally").get(f"/c/{contest.slug}/paper/rules/score.css").content.decode()
    head = css.split("@top-left { content: ")[1].split("; width:")[0]
    assert set(head[1:-1]) <= set(" abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789\\·:")
    assert css.count("@page") == 1


def test_the_catalogue_holds_every_paper_once() -> None:
    assert len(PAPERS) == 14


def test_codes_on_paper_and_screen_are_ordinary_ones() -> None:
    """ISO/IEC 18004: the smallest QR code has 21 modules a side and a quiet zone of 4; a Micro code has 11 to 17."""
    data = base64.b64decode(qr_picture("201").split(",", 1)[1])
    assert struct.unpack(">II", data[16:24]) == (29, 29)  # width and height in the PNG's header
    assert 'viewBox="0 0 145 145"' in qr_svg("201", scale=5)


def test_a_chart_holds_any_number_of_equal_totals() -> None:
    box = SimpleNamespace(total="172", table_mean=None, tables=1, field_mean="171")
    chart = chart_of(box, [Fraction(172)] * 60 + [Fraction(167), Fraction(175)])
    heights = [top for _, top in chart.columns]
    assert min(heights) >= 3
    assert max(heights) <= 32
    assert len(chart.columns) == 3
    few = chart_of(box, [Fraction(172)] * 2 + [Fraction(167), Fraction(175)])
    assert [top for _, top in few.columns] == [32, 24, 32]
