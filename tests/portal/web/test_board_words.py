"""The board says what stands in the way in about two lines, in whole sentences, without codes of the data."""

from portal.web.board import in_short


def test_the_first_sentence_is_never_cut():
    text = "A" + "a" * 200 + "."
    assert in_short(text) == text


def test_whole_sentences_up_to_two_lines():
    one = "There is no reading of the light at point 1."
    assert in_short(" ".join([one] * 5)) == " ".join([one] * 3)


def test_a_number_with_a_decimal_point_ends_no_sentence():
    assert in_short("Slope 0.530 deg. A. B.") == "Slope 0.530 deg. A. B."


def test_contrary_times_are_told_by_their_size():
    text = (
        "The glass part is named. The three claims cannot all be true: the photo was at 11:15; the setting "
        "was not after 08:40. They miss each other by 150 min."
    )
    assert in_short(text) == "Times on record cannot all be true; they miss each other by 150 min."
