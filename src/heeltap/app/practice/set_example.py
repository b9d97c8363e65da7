"""The example that ``heeltap set new`` writes: a good set with a comment at every key.

Inside: `EXAMPLE`.
"""

__all__ = ["EXAMPLE"]

EXAMPLE = """\
# A practice set. Change what you like, then: heeltap set check THIS-FILE
# Whatever stands behind a # is for people only.

format = "heeltap.set/1"                 # leave as it is
title = "First steps on the beat"
for = "beginners, any instrument"        # for whom; may be left out
notes = [                                # lines for the head of the sheet; may be left out
  "Ten minutes a day are better than an hour on Sunday.",
]

# For every exercise below that does not say otherwise. All four may be left out.
lean_ms = 0                              # where to aim: 0 is the click, 15 is 15 ms behind it, "auto" is 4 % of a beat
pocket_ms = 30                           # a stroke within 30 ms of the aim is in the pocket
takes = 3                                # how many takes you ask for at each tempo
done = { in_pocket_percent = 70, spread_ms = 30, takes = 2 }  # done when two takes meet both marks

# One [[item]] for each exercise, in the order in which they are played.

[[item]]                                 # a generated exercise: heeltap make lists families and grades
family = "anchor"
grade = 1
tempo_bpm = [72, 76, 80]                 # steps from take to take; or one tempo; or leave it out

[[item]]
title = "All eighths, in three"          # in place of the exercise's own
family = "split"
grade = 2
metre = "3/4"                            # 2/4 3/4 4/4 5/4 6/8 7/8 12/8
seed = 5                                 # another number, another exercise of the grade
bars = 12
tempo_bpm = 66
click = "bars 2+2"                       # every, backbeat, one, fade, none, or bars on + bars off
notes = ["Count the silent bars aloud."]

[[item]]
family = "turn"
grade = 1
tempo_bpm = 76
ladder = { every_bars = 4, step_percent = 4 }   # the tempo climbs while you play
takes = 2
done = { in_pocket_percent = 60, takes = 1 }    # takes the place of the marks above

# An exercise of your own and a part of a MIDI file, from this file's folder on (remove the # in front):
# [[item]]
# exercise = "two-and-four.toml"         # heeltap make anchor 1 --out two-and-four.toml
# [[item]]
# midi = "song.mid"
# part = "keys"                          # its number, "channel 10", or a name
"""
