"""Reading CSV files as people save them, and the place in every complaint."""

import pytest

from contest.rules.csvfile import CsvError, load, read

COLUMNS = ("box", "team")
TEXT = "box,team\n101,Müller\n102,“Smoke”\n"


def cells(data, **more):
    return [tuple(row.cells[key] for key in COLUMNS) for row in read("f.csv", data, COLUMNS, **more).rows]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_encodings_delimiters_and_line_ends(encoding, delimiter, line_end):
    data = TEXT.replace(",", delimiter).replace("\n", line_end).encode(encoding)
    assert cells(data) == [("101", "Müller"), ("102", "“Smoke”")]


def test_big_endian_utf16():
    assert cells(b"\xfe\xff" + TEXT.encode("utf-16-be")) == [("101", "Müller"), ("102", "“Smoke”")]


def test_windows_1252_is_said():
    assert "read as Windows-1252" in read("f.csv", TEXT.encode("cp1252"), COLUMNS).note
    assert read("f.csv", TEXT.encode(), COLUMNS).note is None


def test_columns_in_any_order_and_case_blank_rows_and_trailing_commas():
    found = read("f.csv", b"Team , BOX,,\n\nA,1,,\n,,,\nB,2\n", ("box",), ("team", "note"))
    assert [(row.number, row.cells) for row in found.rows] == [
        (3, {"box": "1", "team": "A", "note": ""}),
        (5, {"box": "2", "team": "B", "note": ""}),
    ]
    assert found.columns == ("team", "box")


def test_quoted_cells():
    assert cells(b'box,team\n"1","Smoke, Ash ""and"" Oak"\n') == [("1", 'Smoke, Ash "and" Oak')]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "f.csv row 1: empty; begin with the header box,team"),
        (b"box\n1\n", "f.csv row 1 column team: missing; the header needs box,team"),
        (b"box,team,judge\n", "f.csv row 1 column judge: unknown column; delete it or rename it, known are box, team"),
        (b"box,team,Box\n", "f.csv row 1 column box: there twice; delete one"),
        (b"box,team\n1,A,x\n", "f.csv row 2: 3 cells where the header has 2; remove or quote what is too much"),
        (b"box,team\n\n1\n", "f.csv row 3 column team: the row ends before it: 1 cells where the header has 2"),
        (b'box,team\n1,A\n2,"B\n', "f.csv row 3: unexpected end of data; check the quotes of this row"),
        (b'box,team\n1,"A"x\n', "f.csv row 2: "),
        (b"box,team\n1,\x00A\n", "f.csv row 2: a control character, U+0000; save it as CSV UTF-8"),
        ("box,team\n1,A\n".encode("utf-16-le"), "f.csv row 1: a control character, U+0000; save it as CSV UTF-8"),
        (b"box,team\n1,\x1bA\n", "f.csv row 2: a control character, U+001B; delete it"),
        (b"box,team\n1,A\n2,\x81\n", "f.csv row 3: not UTF-8 text; save it as CSV UTF-8"),
        (b"box,team\n1,\xa4\xa7\n", "f.csv row 2: not UTF-8 text; save it as CSV UTF-8"),
        (b"\xff\xfeb", "f.csv: begins as UTF-16 but is not; save it as CSV UTF-8"),
    ],
)
def test_complaints(data, said):
    with pytest.raises(CsvError) as caught:
        read("f.csv", data, COLUMNS)
    assert str(caught.value).startswith(said)
    assert "\n" not in str(caught.value)


def test_an_empty_cell_that_must_be_filled():
    (row,) = read("f.csv", b"box,team\n,A\n", COLUMNS).rows
    with pytest.raises(CsvError, match=r"^f\.csv row 2 column box: empty; type the box$"):
        row.filled("box")


def test_files(tmp_path):
    path = tmp_path / "cards.csv"
    path.write_bytes(TEXT.encode())
    assert len(load(path, COLUMNS).rows) == 2
    with pytest.raises(CsvError, match="no such file; check the path"):
        load(tmp_path / "other.csv", COLUMNS)
    with pytest.raises(CsvError, match="cannot be read"):
        load(tmp_path, COLUMNS)
    with pytest.raises(CsvError, match="cannot be read"):
        load("a\0b", COLUMNS)
