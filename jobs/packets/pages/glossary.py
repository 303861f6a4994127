"""The words of a packet, explained for someone who never saw one."""

from typing import Final

WORDS: Final = (
    (
        "accept zone",
        "The values with which an instrument of known uncertainty shows that a limit "
        "is kept: the limits, "
        "each moved inwards by the guard.",
    ),
    (
        "addition",
        "Something that became known after sealing. It lies beside the packet with its "
        "own date and hash; the "
        "sealed pages never change.",
    ),
    (
        "aiming",
        "Teaching a camera or radar of a car where straight ahead is (often called "
        "calibration). A calibration "
        "in this packet, without more, is the laboratory's check of a measuring instrument.",
    ),
    ("bracket", "Two instants between which something happened, as far as the clocks show it."),
    ("edition", "One published version of a pack, with its own hash; the one in force on the day decides."),
    (
        "evidence",
        "A file or record that shows something: a photo, a scan, a log, a reading. It has a number.",
    ),
    (
        "gate",
        "What the record says of letting the car go: release, release with waiver, release "
        "with refusal, hold.",
    ),
    (
        "guard",
        "1.645 times the standard uncertainty: how far a value must stay away from a limit "
        "so that it is on the "
        "right side with 95 % probability.",
    ),
    (
        "late note",
        "A waiver typed after the car had left, one that no release relied on, or one by someone who may not "
        "grant it. It has no effect.",
    ),
    (
        "leaf, tree, root",
        "Each statement and file of the packet is hashed with a secret of its "
        "own (leaf); the hashes "
        "are hashed in pairs up to one (root). One changed letter gives another root; a withheld "
        "leaf does not.",
    ),
    ("left against hold", "The car left while something was open that nobody had waived or refused."),
    (
        "log",
        "The operator's list of what was recorded, when and by whom; each entry is hashed "
        "with the one before.",
    ),
    ("look-back", "Judging old jobs again because an instrument was found wrong or a rule changed."),
    (
        "pack",
        "The rules of a maker or of common practice as data: what is needed when, and what must be shown.",
    ),
    ("procedure", "One thing that a repair can make necessary, for instance aiming the forward camera."),
    ("proof", "One thing that must be shown for a procedure, with its own verdict."),
    ("refusal", "The owner's decision not to have something done. It stands beside the verdict."),
    ("session, attempt", "One try at a procedure. Failed tries are printed too."),
    ("set aside", "Evidence that no longer counts, by whom and why; it stays enclosed."),
    (
        "SHA-256",
        "A number of 64 hexadecimal digits made from a file (FIPS 180-4). "
        "Nobody knows how to make another file with the same number.",
    ),
    (
        "standard uncertainty, u",
        "How far a measured value may lie from the true one, as a standard deviation (JCGM 100).",
    ),
    ("sublet", "Work given to another business."),
    (
        "thrust line",
        "The line along which the rear wheels push the car; it is rarely the exact middle of the body.",
    ),
    (
        "waiver",
        "A named person's decision to let the car go although one proof is open. It stands "
        "beside the verdict and "
        "never changes it.",
    ),
    ("yaw", "Turn to the left (anticlockwise from above, positive) or to the right."),
)
