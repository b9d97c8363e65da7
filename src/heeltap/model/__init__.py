"""What music is here: notes, plans, bars, sections, exercises, offsets and the Result. Data, no judgement."""
