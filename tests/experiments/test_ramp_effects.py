"""How the messages count and measure."""

from __future__ import annotations

import math

from joulebook.experiments.ramp_effects import counted, known_to, length, percent


def test_words_for_counts_and_sizes() -> None:
    assert counted(1, "reading is", "readings are") == "1 reading is"
    assert counted(0, "reading is", "readings are") == "0 readings are"
    assert [percent(share) for share in (0.0, -0.0004, 0.0123, 0.0994, 0.0996, -0.5, math.nan)] == [
        "less than 0.1 %", "less than 0.1 %", "1.2 %", "9.9 %", "10 %", "50 %", "an unknown part",
    ]  # fmt: skip
    assert [known_to(doubt) for doubt in (0.0001, 0.003)] == ["to better than 0.1 %", "to ± 0.3 % (standard uncertainty)"]
    assert [length(metres) for metres in (0.0007, -0.0123, 0.456, 1.2345)] == ["0.7 mm", "1.2 cm", "45.6 cm", "1.23 m"]
