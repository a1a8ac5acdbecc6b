"""Lists of teams and judges: what is read, what is refused and why, and that nothing is written before the person
says so."""

import io
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from openpyxl import Workbook, load_workbook

from contest.models import Entry, Judge, Team
from contest.services.imports import check_judges, check_teams
from contest.tablefile import TableFileError, read_file, read_lines, to_lines
from tests.factories import client_for, give_part, make_contest

pytestmark = pytest.mark.django_db


def workbook(*rows, sheets=("Teams",)):
    book = Workbook()
    book.active.title = sheets[0]
    for row in rows:
        book.active.append(row)
    for title in sheets[1:]:
        book.create_sheet(title)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def problems(contest, text):
    return {row.number: row.problems for row in check_teams(contest, read_lines(text)).rows if row.problems}


# Reading


@pytest.mark.parametrize(
    "data",
    [
        "1,Équipe Érable,Zoë\n2,Team Alder\n".encode(),
        "1,Équipe Érable,Zoë\r\n2,Team Alder\r\n".encode("utf-8-sig"),
        "1;Équipe Érable;Zoë\r2;Team Alder".encode("utf-16"),
        "1\tÉquipe Érable\tZoë\n2\tTeam Alder".encode("cp1252"),
        workbook([1, "Équipe Érable", "Zoë"], [2.0, "Team Alder"]),
    ],
    ids=["utf-8", "byte order mark", "utf-16", "windows-1252", "workbook"],
)
def test_files_as_people_save_them(data):
    assert read_file("teams.csv", data).cells == [["1", "Équipe Érable", "Zoë"], ["2", "Team Alder"]]


def test_a_guessed_encoding_is_said():
    (note,) = read_file("teams.csv", "Équipe Érable".encode("cp1252")).notes
    assert "read as Windows-1252; check the accents" in note


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("teams.xlsx", b"1,Team Alder", "not an Excel file inside"),
        ("teams.xlsx", b"PK\x03\x04 cut short", "not an Excel workbook, or it is damaged"),
        ("teams.xls", b"\xd0\xcf\x11\xe0" + bytes(600), "old Excel file or has a password"),
        ("teams.csv", b"", "is empty"),
        ("teams.csv", b" \r\n ", "is empty"),
        ("teams.csv", b",,\n,,\n", "has no rows"),
        ("teams.csv", b"x" * (1024 * 1024 + 1), "larger than 1 MB"),
        ("teams.csv", b"1,Team\x81Alder", "save it as CSV UTF-8"),
        ("teams.csv", "1,Team Alder".encode("utf-16-le"), "save it as CSV UTF-8"),
        ("teams.csv", b'1,"Team Alder"x\n', "check the quotes of this row"),
        ("teams.csv", b"Team\n" * 1001, "more than 1000 rows"),
        ("teams.csv", b"," * 41 + b"Team", "more than 40 columns"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(name, data, words):
    with pytest.raises(TableFileError, match=words):
        read_file(name, data)


def test_a_zip_that_is_no_workbook_and_one_that_unpacks_too_large():
    plain, bomb = io.BytesIO(), io.BytesIO()
    with zipfile.ZipFile(plain, "w") as archive:
        archive.writestr("teams.txt", "1,Team Alder")
    with pytest.raises(TableFileError, match="not an Excel workbook"):
        read_file("teams.xlsx", plain.getvalue())
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", bytes(21 * 1024 * 1024))
    assert len(bomb.getvalue()) < 1024 * 1024
    with pytest.raises(TableFileError, match="too large once unpacked"):
        read_file("teams.xlsx", bomb.getvalue())


def test_only_the_first_sheet_is_read_and_that_is_said():
    rows = read_file("teams.xlsx", workbook(["Team Alder"], sheets=("Entries", "Notes")))
    assert rows.cells == [["Team Alder"]]
    assert rows.notes == ["Only the first sheet, “Entries”, was read."]


def test_rows_read_from_a_file_are_the_same_once_shown_for_mending():
    rows = read_file("teams.xlsx", workbook(["team", "home"], [], ["Smoke, Fire and Co", "Line\nbreak"], ["Team"]))
    again = read_lines(to_lines(rows))
    assert again.cells == rows.cells == [["team", "home"], [], ["Smoke, Fire and Co", "Line break"], ["Team"]]


# Checking


def test_lines_with_and_without_numbers_cooks_and_headings():
    contest = make_contest(teams=2)
    bare = check_teams(contest, read_lines("7, Team Sorrel, Cook Sorrel, Example Town\nTeam Thyme\n, Team Dill"))
    assert [(row.team_number, row.given["team"], row.given["home"]) for row in bare.good] == [
        (7, "Team Sorrel", "Example Town"),
        (3, "Team Thyme", ""),
        (4, "Team Dill", ""),
    ]
    headed = check_teams(contest, read_lines("Home\tTeam name\tPhone\tNo.\nTown\tTeam Sorrel\t12\t9"))
    assert [(row.number, row.team_number, row.given["team"], row.given["home"]) for row in headed.rows] == [
        (2, 9, "Team Sorrel", "Town")
    ]
    assert headed.notes == ["The column “Phone” is not used."]


def test_free_numbers_pass_over_those_that_come_later_in_the_list():
    contest = make_contest(teams=1)
    preview = check_teams(contest, read_lines("Team Sorrel\n2, Team Thyme\nTeam Dill"))
    assert [row.team_number for row in preview.good] == [3, 2, 4]


def test_every_bad_row_says_where_and_how_to_mend_it():
    contest = make_contest(teams=2)
    there = contest.entries.get(number=1).team.name
    found = problems(
        contest,
        "number,team,head cook,home,categories\n"
        "1,Team Sorrel\n"
        "5,Team Thyme\n"
        "5,Team Dill\n"
        f"6,{there.upper()}\n"
        "7,team   thyme\n"
        "8,\n"
        "9,Team Chervil,,,chicken; dessert\n"
        "10,=A1&B1\n"
        "eleven,Team Fennel\n"
        "0,Team Lovage\n"
        "12,#REF!\n"
        f"13,{'x' * 121}\n"
        "14,Team Cress,a,b,ribs,too much\n"
        "15,Team Borage\n",
    )
    assert found == {
        2: [f"Number 1 belongs to {there} already: choose another, or leave it empty."],
        4: ["Number 5 stands in row 3 too: choose another, or leave it empty."],
        5: [f"{there} is entered already, as number 1."],
        6: ["The same name as in row 3: delete one of them, or make the names differ."],
        7: ["No team: type the team’s name."],
        8: ["There is no category “dessert”; the categories are: Chicken, Ribs."],
        9: ["The cell “team” holds a formula: type its value instead, or paste the sheet as values."],
        10: ["Number “eleven”: type a whole number from 1 to 9999."],
        11: ["Number “0”: type a whole number from 1 to 9999."],
        12: ["The cell “team” holds the spreadsheet error #REF!: type its value instead."],
        13: ["The name has 121 characters: shorten it to 120."],
        14: ["6 cells where 5 are known: put “quotes” around a name with a comma in it."],
    }


def test_a_formula_in_a_workbook_is_marked_not_computed():
    contest = make_contest(teams=0)
    rows = read_file("teams.xlsx", workbook(["team"], ["=CONCATENATE(1,2)"], ["Team Sorrel"]))
    bad, good = check_teams(contest, rows).rows
    assert "holds a formula" in bad.problems[0]
    assert good.good


def test_teams_of_the_same_organiser_or_season_are_known_by_name():
    before, contest, stranger = make_contest(teams=1), make_contest(teams=0), make_contest(teams=2)
    give_part(contest, "organiser", give_part(before, "organiser"))
    name = before.entries.get().team.name
    other = stranger.entries.get(number=2).team.name
    known, new = check_teams(contest, read_lines(f"{name.upper()}\n{other}")).rows
    assert (known.known_from, new.known_from) == (before.name, "")


def test_judges_rows():
    contest = make_contest(teams=2, seats=2)
    listed = contest.attendances.select_related("judge").first().judge.name
    second = contest.entries.get(number=2).team
    preview = check_judges(
        contest,
        read_lines(
            f"name,contests judged,conflicts\nJudge Sorrel,12,1; {second}\nJudge Thyme,many\n{listed}\n,4\n"
            "Judge Dill,,99\nJudge Cress\njudge  sorrel,2"
        ),
    )
    good = preview.good
    assert [(row.given["name"], row.contests_judged, len(row.teams)) for row in good] == [
        ("Judge Sorrel", 12, 2),
        ("Judge Cress", 0, 0),
    ]
    assert [row.problems for row in preview.bad] == [
        ["Contests judged “many”: type a whole number from 0 to 2000."],
        [f"{listed} is on the list already. Two of one name? Add an initial."],
        ["No name: type the name."],
        ["There is no team “99” in this contest: type its number or name, or add it first."],
        ["The same name as in row 2: delete one of them, or make the names differ."],
    ]


# Importing


def post(contest, kind, data):
    client = client_for(contest, "organiser")
    return client, client.post(reverse(f"contest:{kind}_import", args=[contest.slug]), data)


def test_nothing_is_imported_until_confirmed_and_then_the_good_rows_only():
    contest = make_contest(teams=2)
    file = SimpleUploadedFile(
        "teams.csv", "number,team,home,categories\n5,Team Sörrel,Town,ribs\n1,Team Thyme\nx,Team Dill".encode("cp1252")
    )
    client, shown = post(contest, "team", {"file": file})
    page = shown.content.decode()
    assert shown.status_code == 200
    assert contest.entries.count() == 2
    assert "3 rows: 1 can be imported, 2 cannot." in page
    assert "read as Windows-1252" in page
    assert "1,Team Thyme" in page  # the rows stand in the page, to be mended
    answer = client.post(reverse("contest:team_import", args=[contest.slug]), {"shown": shown.context["shown"]})
    assert answer.url == reverse("contest:teams", args=[contest.slug])
    entry = contest.entries.get(number=5)
    assert (entry.team.name, entry.team.home) == ("Team Sörrel", "Town")
    assert [row.category.key for row in entry.entered.all()] == ["ribs"]
    assert contest.entries.count() == 3


def test_a_list_that_changed_meanwhile_is_shown_again_and_nothing_imported():
    contest = make_contest(teams=0)
    client, shown = post(contest, "team", {"text": "4, Team Sorrel\n5, Team Thyme"})
    Entry.objects.create(contest=contest, team=Team.objects.create(name="Team Dill"), number=5)
    answer = client.post(reverse("contest:team_import", args=[contest.slug]), {"shown": shown.context["shown"]})
    assert answer.status_code == 422
    assert "changed while you looked" in answer.content.decode()
    assert "Number 5 belongs to Team Dill already" in answer.content.decode()
    assert contest.entries.count() == 1


def test_a_preview_of_another_contest_or_a_changed_one_is_refused():
    contest, other = make_contest(teams=0), make_contest(teams=0)
    client, shown = post(contest, "team", {"text": "4, Team Sorrel"})
    give_part(other, "organiser", contest.roles.get().account)
    for target, signed in ((other, shown.context["shown"]), (contest, "x" + shown.context["shown"])):
        answer = client.post(reverse("contest:team_import", args=[target.slug]), {"shown": signed})
        assert answer.status_code == 422
        assert "Nothing was imported" in answer.content.decode()
        assert target.entries.count() == 0


def test_a_refused_file_or_an_empty_form_keeps_what_was_typed():
    contest = make_contest(teams=0)
    file = SimpleUploadedFile("teams.xlsx", b"not a workbook")
    _, answer = post(contest, "team", {"file": file, "text": "Team Sorrel"})
    assert answer.status_code == 422
    assert "not an Excel file inside" in answer.content.decode()
    assert ">\nTeam Sorrel</textarea>" in answer.content.decode()
    _, answer = post(contest, "judge", {"text": " "})
    assert answer.status_code == 422
    assert "Paste some lines, or choose a file." in answer.content.decode()


def test_judges_are_imported_with_experience_and_conflicts():
    contest = make_contest(teams=2, seats=1)
    client, shown = post(contest, "judge", {"text": "Judge Sorrel, 12, 2"})
    client.post(reverse("contest:judge_import", args=[contest.slug]), {"shown": shown.context["shown"]})
    judge = Judge.objects.get(name="Judge Sorrel")
    assert judge.contests_judged == 12
    assert [team.pk for team in judge.conflicts.all()] == [contest.entries.get(number=2).team_id]
    assert contest.attendances.filter(judge=judge).exists()


def test_after_the_draw_no_team_comes_in():
    contest = make_contest(teams=1)
    client, shown = post(contest, "team", {"text": "4, Team Sorrel"})
    contest.state = "sealed"
    contest.save()
    answer = client.post(reverse("contest:team_import", args=[contest.slug]), {"shown": shown.context["shown"]})
    assert answer.status_code == 422
    assert "a late team would need a new draw" in answer.content.decode()
    assert contest.entries.count() == 1


@pytest.mark.parametrize("kind", ["teams", "judges"])
def test_the_empty_tables_can_be_filled_in_and_read(kind):
    contest = make_contest(teams=0)
    client = client_for(contest, "organiser")
    name = "Team Sorrel" if kind == "teams" else "Judge Sorrel"
    plain = client.get(reverse("contest:empty_table", args=[contest.slug, kind, "csv"])).content
    filled = plain + (f",{name}" if kind == "teams" else name).encode()
    book = load_workbook(
        io.BytesIO(client.get(reverse("contest:empty_table", args=[contest.slug, kind, "xlsx"])).content)
    )
    book.worksheets[0].append([None, name] if kind == "teams" else [name])
    out = io.BytesIO()
    book.save(out)
    check = check_teams if kind == "teams" else check_judges
    for file, data in ((f"{kind}.csv", filled), (f"{kind}.xlsx", out.getvalue())):
        (row,) = check(contest, read_file(file, data)).rows
        assert row.good
        assert name in row.given.values()
    assert client.get(f"/c/{contest.slug}/empty-boxes.csv").status_code == 404
