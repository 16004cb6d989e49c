"""What stands on every page in the same words: cautions, and how far a page can be trusted. From hardware_notes and the README."""

from __future__ import annotations

CAUTIONS = (
    ("Advisory only", "No reading of this box replaces a dipstick, a clock, the aircraft's required instruments or good sense. No alert is no proof that all is well."),
    ("Fuel", "Dip the tanks before flight. A float that sticks, or a fault within a sender's own span, reads a plausible quantity; the box cannot know. Fuel reads 0 at the unusable quantity in level flight only."),
    ("Senders in tanks", "Work on them with the tank empty and vented, bonded, master off, an extinguisher at hand and someone with you. Keep bus voltage away from a tank sender's own wire: no circuit in the box limits what chafes onto it."),
    ("Ignition and other limits", "Hydraulic pressure is not gear position. Every limit here is as good as the source named beside it; one without a source is somebody's guess."),
    ("Fire", "A fuse for every lamp, at the bus end, sized to its wire. Light strips burn: fix them with more than their glue."),
    ("Glare", "Set ceiling and floor at night, on the ground, after half an hour in the dark. Keep a torch within reach: a dead box leaves its lamps dark."),
    ("Headset and compass", "No lamp's return in the audio's ground; plus and minus twisted. Swing the compass with the lamps on and off."),
    ("Service jumper", "Pull it before flight: closed, the box can be written to and has no watchdog."),
    ("Authority", "The rules of the country, a licensed mechanic and an inspector have the last word on all of this."),
)  # fmt: skip

HONESTY = (
    "This page carries the box file it was made from. Anyone with these tools can check it: gaugelight record --check PAGE builds the table anew"
    " from that file, and its CRC must come out as it stands here; with --port it must be the CRC that a box says too, and the box's table the"
    " same to the byte. The sum below is over the whole page: a number changed by accident, or by hand, no longer fits it.",
    "Neither is a signature. Whoever means to deceive can make a page of other numbers, and its CRC and sum with it; what makes this page a"
    " document is the signatures on its print. A CRC of 32 bits finds every accident but one in four thousand million. It says that table and"
    " box belong together, not that senders, wires and limits are right: tests and signatures say that.",
    "Keep the file as gaugelight wrote it: what a browser saves is another file, and its sum does not fit.",
)

ENDURANCE = "time = capacity x state x share left when cold / current"
AT_MOST = (
    "At most: a battery that is older, colder or emptied faster than stated gives less, what is left out above takes its share, and what"
    " regulates itself takes more current as the voltage falls. Land well before."
)
ALONE = "the box alone: what its sender is off by is not stated"
PLUS_MINUS = (
    "Plus or minus at 95 % (JCGM 100), each from its own sources: circuit, converter, conversion curve, and the sender's stated tolerance or its"
    " calibration. Where neither is stated the sender itself is left out, and the figure is of the box alone. Near an end of the range it is an"
    " upper bound. Of what is worked out from several inputs nothing is stated here; the boil margin takes its own off."
)
LIMITS = "A limit is judged reached half a displayed step early, when its reading is shown."
