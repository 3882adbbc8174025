"""Every sentence a person reads about a finding, an estimate or a change: made here and nowhere else.

Short, plain, the number first, the rating beside it. "About" for estimates, "at least" where the log only bounds.
"""

from analysis.wording.across_words import across_sentence
from analysis.wording.advice_words import (
    ADVICE_WORDS,
    CAUTIONS,
    REPLAY_CAUTION,
    SPINNING_CAUTION,
    advice_sentence,
    spare_note,
)
from analysis.wording.lines import DO_WORDS, METHOD_STARTS, NO_ACTION, WORTH_DOING, do, in_part, three_lines, why
from analysis.wording.names import (
    CAUSE_WORDS,
    CHECK_WORDS,
    UNIT_WORDS,
    VERDICT_WORDS,
    capital,
    channel_words,
    listed,
    name_of,
    number,
    unit,
)
from analysis.wording.pit_words import not_checked_words, pit_do, pit_take
from analysis.wording.sentences import MOTOR_SENTENCES, check_sentence, event, sentence

__all__ = [
    "ADVICE_WORDS",
    "CAUSE_WORDS",
    "CAUTIONS",
    "CHECK_WORDS",
    "DO_WORDS",
    "METHOD_STARTS",
    "MOTOR_SENTENCES",
    "NO_ACTION",
    "REPLAY_CAUTION",
    "SPINNING_CAUTION",
    "UNIT_WORDS",
    "VERDICT_WORDS",
    "WORTH_DOING",
    "across_sentence",
    "advice_sentence",
    "capital",
    "channel_words",
    "check_sentence",
    "do",
    "event",
    "in_part",
    "listed",
    "name_of",
    "not_checked_words",
    "number",
    "pit_do",
    "pit_take",
    "sentence",
    "spare_note",
    "three_lines",
    "unit",
    "why",
]
