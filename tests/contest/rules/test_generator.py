import hashlib
from collections import Counter

import pytest

from contest.rules.generator import Generator


def test_block_zero_is_what_sha256sum_prints_for_the_seed_and_a_zero():
    # printf 'seed:0' | sha256sum
    generator = Generator(b"seed")
    words = b"".join(generator.word().to_bytes(4, "big") for _ in range(8))
    assert words.hex() == "58f9082db66a15d660a3f65e1e2f12c31e4409635a583a6eaf0ba45c744b6688"


def test_blocks_follow_one_another_in_decimal():
    generator = Generator(b"seed")
    words = [generator.word() for _ in range(8 * 12)]
    last = b"".join(word.to_bytes(4, "big") for word in words[-8:])
    assert last == hashlib.sha256(b"seed:11").digest()


def test_numbers_below_six():
    generator = Generator(b"seed")
    assert [generator.below(6) for _ in range(10)] == [3, 4, 2, 5, 5, 4, 4, 0, 5, 5]


def test_a_shuffle_of_ten():
    assert Generator(b"seed").shuffled(range(10)) == [2, 4, 3, 0, 1, 9, 8, 6, 7, 5]


def test_words_that_would_favour_small_remainders_are_passed_over():
    n = 3 << 30  # only words below 3·2³⁰ fit once: a quarter of all words must go
    generator, words = Generator(b"seed"), Generator(b"seed")
    kept = [word for word in (words.word() for _ in range(400)) if word < n]
    assert [generator.below(n) for _ in range(len(kept))] == kept
    assert 60 < 400 - len(kept) < 140


@pytest.mark.parametrize("n", [0, -1, 2**32 + 1])
def test_a_range_that_words_cannot_cover_is_refused(n):
    with pytest.raises(ValueError, match="cannot be drawn"):
        Generator(b"seed").below(n)


def test_the_full_range_is_a_plain_word():
    assert Generator(b"seed").below(2**32) == 0x58F9082D


def test_a_fork_has_its_own_seed_whatever_was_drawn_before():
    used = Generator(b"seed")
    used.word()
    assert used.fork("boxes").word() == Generator(b"seed/boxes").word()


def test_every_order_of_four_comes_equally_often():
    generator = Generator(b"orders")
    counts = Counter(tuple(generator.shuffled(range(4))) for _ in range(24_000))
    chi_squared = sum((n - 1000) ** 2 / 1000 for n in counts.values())
    assert len(counts) == 24
    assert chi_squared < 57.1  # upper 1e-4 point at 23 degrees of freedom, scipy.stats.chi2.isf


def test_the_rfc_3797_example():
    """Publicly verifiable selection, RFC 3797 section 6: the idea that the draw rests on, by its own algorithm.

    Each pick is the MD5 of the key string between two copies of its number (two bytes, big-endian), modulo how
    many are left.
    """
    key = b"9319./2.5.8.10.12./9.18.26.34.41.45./"
    left, picked = list(range(1, 26)), []
    for number in range(16):
        edge = number.to_bytes(2, "big")
        digest = hashlib.md5(edge + key + edge).hexdigest()
        if number == 0:
            assert digest.upper() == "990DD0A5692A029A98B5E01AA28F3459"
        picked.append(left.pop(int(digest, 16) % len(left)))
    assert picked == [17, 7, 2, 16, 25, 23, 8, 24, 19, 13, 22, 5, 18, 9, 1, 4]
