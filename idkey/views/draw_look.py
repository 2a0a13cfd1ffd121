"""What a fish looks like, as far as it can be drawn: one field a trait, ``None`` where it is not known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["STATES", "Look"]

#: Trait id -> the states that can be drawn. Every field of `Look` is one of these traits.
STATES: dict[str, tuple[str, ...]] = {
    "pattern": ("light_spots", "dark_spots", "lines", "bars", "plain"),
    "tail_fork": ("straight", "concave", "forked", "streamers"),
    "fin_edging": ("none", "dark", "white", "orange"),
    "spot_size": ("small", "medium", "large"),
    "mouth_shape": ("small", "medium", "wide"),
    "spot_vs_nostril": ("smaller", "equal", "larger"),
    "spot_vs_pupil": ("under_half", "smaller", "larger"),
    "head_spots": ("smaller", "same", "none"),
    "spot_density": ("sparse", "moderate", "dense"),
    "spot_colour": ("white", "yellow", "orange"),
    "fin_spots": ("yes", "no"),
    "belly_spots": ("yes", "no"),
    "ground_colour": ("dark", "olive", "pale"),
    "jaw_angle": ("parallel", "acute", "wide"),
    "tooth_form": ("larger_below", "even", "stout", "spoon", "fangs", "brush"),
    "snout_tentacles": ("none", "present"),
    "snout_shape": ("rounded", "pointed", "broad"),
    "dorsal_reach": ("gap", "reaches", "joined"),
    "dorsal_height": ("normal", "tall"),
    "adipose_fin": ("present", "absent"),
    "body_keels": ("none", "strong"),
    "body_depth": ("normal", "flat"),
    "belly_plates": ("naked", "partly", "plated"),
    "cheek_spines": ("long", "short"),
}


@dataclass(frozen=True, slots=True)
class Look:
    """The drawable traits of one fish; the fields are trait ids, the values states of `STATES`.

    Examples
    --------
    >>> Look.of({"pattern": "light_spots", "tail_fork": "forked", "basin": "xingu"}).tail_fork
    'forked'
    """

    pattern: str | None = None
    tail_fork: str | None = None
    fin_edging: str | None = None
    spot_size: str | None = None
    mouth_shape: str | None = None
    spot_vs_nostril: str | None = None
    spot_vs_pupil: str | None = None
    head_spots: str | None = None
    spot_density: str | None = None
    spot_colour: str | None = None
    fin_spots: str | None = None
    belly_spots: str | None = None
    ground_colour: str | None = None
    jaw_angle: str | None = None
    tooth_form: str | None = None
    snout_tentacles: str | None = None
    snout_shape: str | None = None
    dorsal_reach: str | None = None
    dorsal_height: str | None = None
    adipose_fin: str | None = None
    body_keels: str | None = None
    body_depth: str | None = None
    belly_plates: str | None = None
    cheek_spines: str | None = None

    @classmethod
    def of(cls, states: Mapping[str, object]) -> Look:
        """Read the look from a row of traits.

        Parameters
        ----------
        states : mapping of str to object
            Trait id to state. What cannot be drawn (another trait, another state, a blank) is left out.

        Returns
        -------
        Look
            The fish, with ``None`` for everything that was left out.
        """
        known = {}
        for trait, drawable in STATES.items():
            state = states.get(trait)
            if isinstance(state, str) and state in drawable:
                known[trait] = state
        return cls(**known)
