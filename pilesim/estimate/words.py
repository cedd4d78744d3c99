"""What stands beside each estimate: group, name on the screen, unit, formula, source, validity, why a run may differ."""

from __future__ import annotations

from dataclasses import dataclass

GROUPS = {"draught": "Draught", "cover": "Cover and heat", "oxygen": "Oxygen", "convection": "Convection within the mix",
          "water": "Water", "warm-up": "Warm-up", "frost": "Frost"}


@dataclass(frozen=True, slots=True)
class Words:
    """Texts of one estimate; `extensive` ones are per metre of length unless the heap is round.

    measured : what a run puts beside it, empty if nothing; parts : why the two part.
    """

    group: str
    words: str
    unit: str
    formula: str
    source: str
    validity: str
    measured: str = ""
    parts: str = ""
    extensive: bool = False


_NETWORK = "(n/mu) g d_rho dz / (L/KA of cover in + mix + cover out)"
_SKIN = "Darcy's law and hydrostatics, exact for an even skin around gas of one temperature, the mix without resistance"
_TIGHT = "cover much tighter than the mix, base layer closed, no wind, mix of one temperature"
_DRAWN = ("The run's hot ring and crest lift more than an even mix of its mean temperature, gas heavy with carbon dioxide "
          "lifts less, and condensate and decay change the mix's permeability.")
_FRONT = ("A run has a front: oxygen in plenty before it, none behind, and by now part of the fast pool is gone, so less is "
          "taken up and oxygen reaches farther.")
_SERIES = "thermal resistances in series, exact in one dimension; vapour's part after de Vries (1963)"

WORDS: dict[str, Words] = {
    "draught_pressure": Words(
        "draught", "push of the draught", "Pa", "g (rho_air - rho_gas) dz, dz from inlet to outlet", "hydrostatics, exact",
        "gas of one temperature, saturated, with the oxygen of air"),
    "air_intake": Words(
        "draught", "dry air drawn in", "kg s-1", _NETWORK, _SKIN, f"{_TIGHT}; oxygen of the gas as in air",
        "that day", _DRAWN, True),
    "air_intake_spent": Words(
        "draught", "the same, oxygen spent", "kg s-1", _NETWORK, _SKIN, f"{_TIGHT}; oxygen as in a stirred pile",
        extensive=True),
    "air_changes": Words(
        "draught", "air changes", "h-1", "air drawn in / gas-filled pores of the mix", "definition", _TIGHT,
        "mean of run", f"The run's is the mean from cold start to end. {_DRAWN}"),
    "gas_speed": Words(
        "draught", "gas speed through the inlet", "m s-1", "u = N / (n A_in)", "definition; limit after Ergun (1952)",
        "slow enough for Darcy's law: below 5 mm/s"),
    "cover_leakance": Words(
        "cover", "leakance of the cover", "m", "K / thickness", "definition", "any cover", "as built",
        "Nothing should part them: they are one definition."),
    "cover_share": Words(
        "cover", "cover's share of flow resistance", "1", "cover / (cover + mix), in series", "Darcy's law",
        "even cover, even mix"),
    "transmittance": Words(
        "cover", "heat passed by cover and film", "W m-2 K-1", "1 / (1/h + thickness / (lambda + vapour's part))", _SERIES,
        "steady, cover moist"),
    "heat_through_cover": Words(
        "cover", "heat lost through the cover", "W", "U A (T - T_air)", _SERIES, "the mix as warm at the cover as inside",
        "that day",
        "In a run the ring below the cover heats first and is hotter than the mean, or later colder; gas drawn in through "
        "the flanks cools the cover there and gas leaving heats it under the crest.", True),
    "heat_with_gas": Words(
        "cover", "heat carried off by gas", "W", "N (h(T) - h_air), saturated", "enthalpy of moist air (ASHRAE)",
        "all gas leaves at the mix's temperature", "that day",
        "Gas leaves a run through the hot crest, where each kelvin more carries much more vapour; passing the cover, some of "
        "it condenses.", True),
    "heat_released": Words(
        "cover", "heat of respiration, stirred", "W", "oxygen taken up x heat per oxygen",
        "mass balance; heat after Finstein",
        "fresh, fully active mix, oxygen by draught and diffusion", "that day",
        "The run has burnt part of its fast pool by then, and places above the best temperature take up less.", True),
    "oxygen_reach_diffusion": Words(
        "oxygen", "reach by diffusion below the cover", "m", "x^2/2D + x t/D_c = c/R",
        "mass balance, exact for an even uptake",
        "even uptake down to none, fresh mix, idle cover", "aerobic share",
        f"The run's figure (that day's aerobic share x volume / skin) holds what the draught brings too. {_FRONT}"),
    "oxygen_reach_draught": Words(
        "oxygen", "reach by draught", "m", "u c / R", "mass balance of plug flow, exact",
        "even uptake, fresh mix; shorter than the way through the pile", "aerobic share", _FRONT),
    "thiele_modulus": Words(
        "oxygen", "Thiele modulus", "1", "L sqrt(R / (D c)), L = volume / skin", "Thiele (1939) (TO CHECK)",
        "diffusion alone; far above 1 only a rim gets oxygen"),
    "stirred_oxygen": Words(
        "oxygen", "oxygen of a stirred pile", "percent", "N (X_air - X) = R V X / (X + K)", "mass balance, exact if stirred",
        "fresh and well mixed", "mean that day", _FRONT),
    "days_to_aerobic": Words(
        "oxygen", "until oxygen has burnt its way in", "day", "oxygen owed until uptake falls to the supply / supply",
        "mass balance of a front that uses all that is brought; own derivation",
        "starved at first, at this temperature from the start", "days to aerobic",
        "The run counts from a cold start and to a tenth below the limit; its draught is not the same all the time, and hot "
        "or dry places take up less."),
    "rayleigh_number": Words(
        "convection", "Rayleigh number of the mix", "1", "K g d_rho H (rho c)_moist / (mu lambda_moist)",
        "Horton & Rogers (1945), Lapwood (1948) (TO CHECK); condensing vapour counted in heat capacity and conduction",
        "a closed layer heated from below, as cold on top as the air; a pile is open and is heated within"),
    "onset_rayleigh_number": Words(
        "convection", "onset in a closed layer", "1", "pi^2 (1 + sqrt(K_up / K_across))^2",
        "exact; Castinel & Combarnous (1974) (recalled from memory, TO CHECK)", "even, closed layer; 27.1 under an open top"),
    "water_to_degradable": Words(
        "water", "water over degradable matter", "kg kg-1", "water / (fast + slow pools)", "Haug (1993) (recalled, TO CHECK)",
        "a screen: above about 8 the heat hardly lasts"),
    "evaporation_potential": Words(
        "water", "water its heat could evaporate", "1", "all heat / (water x latent heat)", "heat balance, exact",
        "no other losses: an upper bound"),
    "water_with_gas": Words(
        "water", "water carried off by the end", "1", "N (Y - Y_air) x time / water", "mass balance",
        "this temperature from start to end; water made by respiration is not set against it",
        "gas, evaporation",
        "A run's gas leaves through the crest, hotter than the mean, so it carries more, and while the mix is cold less; the "
        "cover dries too, and what condenses in it evaporates from its surface."),
    "warm_up_free": Words(
        "warm-up", "warm-up with oxygen, without loss", "day", "integral of C dT / (heat of respiration)",
        "heat balance, exact for one temperature", "a lower bound: oxygen in plenty, no losses, fully active",
        "that day", "A run loses heat and is short of oxygen: it must take longer."),
    "warm_up_stirred": Words(
        "warm-up", "warm-up of a stirred pile", "day", "integral of C dT / (respiration - losses)",
        "heat balance, exact if stirred", "fresh, fully active; draught and losses those of each temperature",
        "that day",
        "Stirring gives every place oxygen; in a run the core waits for it, and cover and ground must be warmed too."),
    "balance_temperature": Words(
        "warm-up", "where a stirred, fresh pile settles", "degC", "respiration = cover + gas + ground",
        "heat balance, exact if stirred", "its height is where degradation stops, not a prediction",
        "highest mean", "A run's flanks and toe stay colder, its pools shrink while it warms."),
    "frost_in_ground": Words(
        "frost", "frost in bare ground beside", "m", "2 m sqrt(a t), two phases",
        "Neumann; Carslaw & Jaeger (1959) ch. 11 (TO CHECK)",
        "bare of snow, at the air's temperature all the time, the ground at its deep temperature before",
        "at the end",
        "A run's ground starts with the steady profile of a long cold spell, already frozen as deep as that says."),
    "frost_in_idle_mix": Words(
        "frost", "frost in a mix that does not heat", "m", "sqrt((l R)^2 + 2 l d t/(w L)) - l R",
        "Stefan, with the cover's resistance", "no heat made: an upper bound", "frozen share",
        "The run makes heat; that is the difference."),
    "frost_in_cover": Words(
        "frost", "frost in the cover of a warm mix", "m", "where resistances in series pass 0 degC", "exact in one dimension",
        "steady, the mix at the temperature above"),
}
