import hashlib
import subprocess
from dataclasses import replace

import pytest

from contest.rules.draw import Placed, make_draw, recompute
from contest.rules.draw.commitment import (
    commitment,
    draw_text,
    public_text,
    read_draw_text,
    read_sum,
    secret_text,
    seed_of,
    short_form,
)
from tests.contest.rules.requests import full

SECRET = secret_text(bytes(range(32)))


def test_the_secret_file_is_the_nonce_in_hex():
    assert SECRET == "000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f\n"
    with pytest.raises(ValueError, match="give 32"):
        secret_text(b"short")


def test_the_public_file_is_the_same_in_whatever_order_teams_speak():
    one = public_text("d1", ["Plum", "apple  tree", " ", "Äpfel"])
    two = public_text("d1", ["A\u0308pfel", "apple tree", "Plum"])
    assert one == two == "commitment\td1\ndraw\t1\nword\tPlum\nword\tapple tree\nword\tÄpfel\n"


def test_a_redraw_names_its_number_and_reason():
    assert public_text("d1", number=2, reason="a team\nwithdrew") == (
        "commitment\td1\ndraw\t2\nreason\ta team withdrew\n"
    )


def test_the_sums_are_those_that_sha256sum_prints(tmp_path):
    public = public_text(commitment(SECRET), ["alder", "birch"])
    result = make_draw(full(8, 2, 2), secret=SECRET, public=public)
    for name, text in (("secret.txt", SECRET), ("public.txt", public), ("draw.txt", result.draw_text)):
        (tmp_path / name).write_bytes(text.encode())

    def printed(command):
        return subprocess.run(command, shell=True, cwd=tmp_path, capture_output=True, text=True).stdout.split()[0]

    assert printed("sha256sum secret.txt") == commitment(SECRET)
    assert printed("cat secret.txt public.txt | sha256sum") == result.seed == seed_of(SECRET, public)
    assert printed("sha256sum draw.txt") == result.fingerprint


def test_text_and_bytes_of_a_secret_are_the_same():
    assert commitment(SECRET.encode()) == commitment(SECRET)
    assert seed_of(SECRET.encode(), "x") == seed_of(SECRET, "x")


def test_draw_txt_to_the_letter():
    request = full(2, 1, 1, most_boxes=6, forbidden=frozenset({(9, 3), (2, 4)}), excluded_numbers=frozenset("7"))
    placed = [Placed("c1", "482", 1, 2, 1), Placed("c1", "233", 1, 1, 2)]
    assert draw_text(request, "00ff", placed) == (
        "algorithm\tfairbox-draw-1\n"
        "seed\t00ff\n"
        "places\t6\n"
        "tables\tc1\t1\n"
        "used\t7\n"
        "forbid\t2\t4\n"
        "forbid\t9\t3\n"
        "c1\t233\t1\t1\t2\n"
        "c1\t482\t1\t2\t1\n"
    )


def test_draw_txt_holds_all_that_a_stranger_needs_to_draw_again():
    request = full(9, 3, 3, most_boxes=4, forbidden=frozenset({(4, 2)}), excluded_numbers=frozenset({"482"}))
    result = make_draw(request, secret=SECRET, public="p")
    read, seed, placed = read_draw_text(result.draw_text)
    assert (seed, placed) == (result.seed, result.placed)
    assert (read.tables, read.most_boxes, read.forbidden) == (request.tables, 4, request.forbidden)
    assert read.entries == request.entries
    assert read.excluded_numbers == {"482"}
    assert recompute(result.draw_text)


def test_a_changed_draw_txt_does_not_recompute():
    result = make_draw(full(8, 2, 2), secret=SECRET, public="p")
    lines = result.draw_text.splitlines(keepends=True)
    one, other = lines[-1].split("\t"), lines[-2].split("\t")
    one[-1], other[-1] = other[-1], one[-1]  # two teams exchange boxes after the draw
    forged = "".join([*lines[:-2], "\t".join(other), "\t".join(one)])
    assert forged != result.draw_text
    assert not recompute(forged)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (("fairbox-draw-1", "fairbox-draw-9"), "this program knows fairbox-draw-1"),
        (("seed\t", "sead\t"), "draw.txt, line 2"),
        (("places\tany", "places\tmany"), "'many' is not a whole number"),
        (("used\tnone\n", ""), "no line used"),
    ],
)
def test_a_draw_txt_that_cannot_be_read_is_refused_with_the_place(change, message):
    text = make_draw(full(4, 2, 2), secret=SECRET, public="p").draw_text
    with pytest.raises(ValueError, match=message):
        read_draw_text(text.replace(*change))


def test_the_commitment_is_plain_sha256():
    assert commitment("abc") == hashlib.sha256(b"abc").hexdigest()
    # FIPS 180-2, appendix B.1
    assert commitment("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


FULL = "a1b2c3d4e5f60718293a" + "0" * 44


def test_short_form_is_five_groups_of_four():
    assert short_form(FULL) == "a1b2 c3d4 e5f6 0718 293a"
    assert short_form(FULL, "-") == "a1b2-c3d4-e5f6-0718-293a"


@pytest.mark.parametrize(
    "typed",
    [
        "a1b2 c3d4 e5f6 0718 293a",
        "A1B2-C3D4-E5F6-0718-293A",
        "  a1b2c3d4e5f60718293a\n",
        "a1b2\u2013c3d4\u2011e5f6\u00a00718 293a",
    ],
)
def test_typed_short_form_is_read_as_its_digits(typed):
    assert read_sum(typed) == FULL[:20]


def test_typed_full_sum_is_read_as_its_digits():
    assert read_sum(f" {FULL.upper()} ") == FULL


@pytest.mark.parametrize("length", [0, 1, 8, 16, 19, 21, 40, 63, 65])
def test_sum_of_another_length_is_refused(length):
    with pytest.raises(ValueError, match=f"{length} hex digits; type all 64, or the short form"):
        read_sum("a" * length)


@pytest.mark.parametrize("typed", ["a1b2 c3d4 e5f6 0718 293g", "a" * 63 + "é", "٠" * 20, "0x" + "a" * 18])
def test_sum_with_other_signs_is_refused(typed):
    with pytest.raises(ValueError, match="digits 0 to 9"):
        read_sum(typed)


def test_draw_txt_binds_the_lists_and_draws_the_same():
    plain = make_draw(full(8, 2, 2), secret=SECRET, public="p")
    request = replace(full(8, 2, 2), entries_sum="e" * 64, categories_sum="c" * 64)
    bound = make_draw(request, secret=SECRET, public="p")
    assert bound.placed == plain.placed
    lines = bound.draw_text.splitlines()
    used = lines.index("used\tnone")
    assert lines[used + 1 : used + 3] == [f"entries\t{'e' * 64}", f"categories\t{'c' * 64}"]
    read = read_draw_text(bound.draw_text)[0]
    assert (read.entries_sum, read.categories_sum) == ("e" * 64, "c" * 64)
    assert recompute(bound.draw_text)
