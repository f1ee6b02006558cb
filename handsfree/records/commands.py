"""Every command that can be spoken: what is not in here no grammar may ask for."""

from enum import StrEnum


class Command(StrEnum):
    """Ids of the commands in grammar/sentences.jsgf, and of the attention word said alone."""

    FOOT_UP = "foot_up"
    FOOT_DOWN = "foot_down"
    BREAK = "break"
    STRIKE = "strike"
    KEEP_BOTH = "keep_both"
    READ_BACK = "read_back"
    WHATS_LEFT = "whats_left"
    CONFIRM = "confirm"
    EARS_OFF = "ears_off"
    EARS_ON = "ears_on"
    HORSE = "horse"
    NEXT_HORSE = "next_horse"
    HORSE_DONE = "horse_done"
    BRIEF = "brief"
    PREVIOUS_VISIT = "previous_visit"
    DATE_MARK = "date_mark"
    BALANCE = "balance"
    WEIGHT = "weight"
    DATE_VISIT = "date_visit"
    REMARK = "remark"
    ATTENTION = "attention"
