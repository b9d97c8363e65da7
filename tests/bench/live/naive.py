"""The way one would write it first: mido plays the click in a thread, a callback stamps the notes, and the same process
draws.

Run as ``python -m tests.bench.live.naive CLICKS PERIOD_US SECONDS``; prints ``zero`` and its moment when the click
starts, and at the end one JSON line ``{"late_us": [...], "stamp_ns": [...]}``.
"""

import json
import sys
import threading

import mido

from tests.bench.live.drawing import draw_until
from tests.engine.timing import nap, now_ns

__all__: list[str] = []


def main() -> None:
    """Play, listen and draw."""
    clicks, period_us, seconds = int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3])
    backend = mido.Backend("mido.backends.rtmidi/UNIX_JACK")
    stamp_ns: list[int] = []
    late_us: list[float] = []

    def stamp(message: mido.Message) -> None:
        if message.type == "note_on":
            stamp_ns.append(now_ns())

    name = next(n for n in backend.get_input_names() if n.startswith("robot:out"))
    ear = next(n for n in backend.get_output_names() if n.startswith("robot-ear:in"))
    source = backend.open_input(name, callback=stamp)
    output = backend.open_output(ear)
    song = mido.MidiFile(ticks_per_beat=1000)
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("set_tempo", tempo=period_us))
    for k in range(clicks):
        track.append(mido.Message("note_on", channel=9, note=77, velocity=100, time=1000 if k else 0))
    song.tracks.append(track)

    def play() -> None:
        start_ns = now_ns()
        for k, message in enumerate(song.play()):
            late_us.append((now_ns() - start_ns) / 1000 - k * period_us)
            output.send(message)

    thread = threading.Thread(target=play)
    end_ns = now_ns() + round((seconds + 1.5) * 1e9)
    print("zero", now_ns() + 500_000_000, flush=True)
    nap(0.2)
    thread.start()
    draw_until(lambda: now_ns() > end_ns)
    thread.join()
    source.close()
    output.close()
    print(json.dumps({"late_us": late_us, "stamp_ns": stamp_ns}), flush=True)


if __name__ == "__main__":
    main()
