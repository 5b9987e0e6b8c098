"""The caution sentences, written once: figures, reports, terminal output and their tests take them from here.

Constants are single sentences (or short paragraphs); the functions at the end choose which of them a result
must carry. Nothing in the package may leave them out; a quiet run may shorten them to :func:`one_line`.
"""

SYMPTOMS_OVERRULE = "Symptoms overrule every number."

DECIDERS = (
    "Local heat rules, event medical staff, ethics committees and licensed clinicians decide; this tool "
    "never overrides them."
)

PLANNING_ONLY = "Modelled core is for planning only: never a stop rule, never a reason to go on."

MEASURED_CORE_ABOVE_39 = (
    "A trial meant to pass 39.0 °C needs measured core (rectal or ingested), ethics approval and a "
    "clinician on site."
)

FEEL_COOLER = (
    "Neck and skin cooling can make a runner feel cooler than they are; do not raise the cap or the "
    "speed for it."
)

PERCEPTION_APART = (
    "A runner who feels cooler, or finds it easier, may go on longer or faster and reach a higher core: "
    "perception is not core, and nothing of it enters the modelled core."
)

CAP_DOES_NOT_BOUND_CORE = (
    "A heart-rate cap does not bound core: cooled skin lowers heart rate while core can still climb, "
    "and cold, tired or medicated hearts read low. Under the cap is not under the limit."
)

COLD_INJURY = (
    "Cold injury: cloth layer between ice and skin; bare ice 10 min at most on one spot, then move it; "
    "numb, white or burning skin: remove; nothing pressing on the front of the neck."
)

COLD_INJURY_IN_FULL = (
    "Cold injury: cloth layer between ice and skin; bare ice 10 min at most on one spot, then move it. "
    "A worn device may stay longer only through cloth and while the modelled skin under it stays above "
    "12 °C: warning below 12 °C for 15 min, plan refused below 8 °C (common practice, no source). "
    "Nothing colder than melting ice on skin: no pack straight from the freezer, no salted ice, no dry "
    "ice. Numb, white or burning skin: remove. Nothing pressing on the front of the neck. Not with "
    "Raynaud's, cold urticaria, nerve or circulation disease or broken skin. Beware wet shoes and "
    "chafing."
)

UNCOMPENSABLE = (
    "Uncompensable: the evaporation required is more than the air can take or the sweat rate "
    "can feed; core cannot settle at this effort."
)

OUTSIDE_RANGE = "Outside the validated range"

STOP_NOW = (
    "Stop now, any one of: confusion, odd or aggressive behaviour, collapse or fainting, seizure, "
    "unsteady gait, vomiting, chills or goose-flesh, sweating that stops, headache with dizziness, "
    "blurred sight, chest pain, irregular pulse, trouble breathing."
)

STILL_SWEATING = "Still sweating does not rule out heat stroke."

HEAT_STROKE = (
    "Suspected heat stroke = collapse, confusion or changed behaviour in or after exercise in the heat, "
    "whatever any ear, forehead or wrist reading, heart rate or model says: call emergency services; "
    "cool at once, transport second; stirred cold-water immersion (2–15 °C) with someone holding the "
    "head and watching the airway, or the most aggressive cooling at hand; nothing by mouth to a "
    "confused person; go on until the medical team takes over (they stop by rectal temperature, "
    "commonly 38.6–39.0 °C); do not leave alone."
)

WALK_AT_THE_CAP = "At the cap walk, do not stand still; after a rep sit or lie in the shade (fainting)."

NEVER_ALONE = (
    "Never alone: second person, phone, shade, and a tub or ice, water and a sheet on site before "
    "capped heat reps."
)

WHO_SHOULD_NOT = (
    "Not without a physician: fever or recent illness, diarrhoea, heat illness or muscle breakdown "
    "before, heart, lung, kidney or sweat-gland disease, diabetes on medicine, sickle-cell trait, poor "
    "sleep, alcohol, not acclimatised; medicines such as diuretics, beta-blockers, blood-pressure, "
    "anticholinergic, antihistamine, antipsychotic, antidepressant, stimulant and decongestant drugs, "
    "and anti-inflammatory painkillers on the day (never stop a prescribed medicine for this)."
)

PREGNANCY_AND_UNDER_18 = "Pregnancy and under 18: no default limit and no plan."

ADULT_MODEL = "Adult model, outside its range."

BETA_BLOCKERS = "With beta-blockers the heart-rate fit and the cap are refused."

DRINK = (
    "Drink to thirst within the range and do not gain mass; salt does not protect from over-drinking; "
    "headache, swelling, nausea or confusion after much drinking: give no more water, emergency; no "
    "anti-inflammatory painkillers."
)

NOT_IDENTIFIED = "Not identified by these data: planning with this value is planning with defaults."

TRIAL_ON_HUMANS = (
    "Trial on humans: consent, ethics approval where required, and anyone may withdraw at any time."
)

INSTANT = "Compensable at one instant is not a forecast: skin temperature and storage are held as stated."

# Said by comparisons: what the heat balance has no say in, and what stands beside the minutes of a device.
NO_REASON = (
    "In this air the sweat of the runner as given keeps up, core stays below the limit without {name}, and {name} hardly "
    "moves it: the heat balance gives no reason for it here; comfort may be one."
)

NO_REASON_BUT_SOME_REACH_IT = (
    "In this air the sweat of the runner as given keeps up, but {share:.0f} % of the drawn runners reach the limit without "
    "{name}, and {name} hardly moves core: the heat balance gives no reason for it here; what helps is to stop sooner or to "
    "make less heat."
)

LONGER_IS_NOT_COOLER = (
    "Going on longer is not being cooler: the minutes to a core limit and what people did can both be true and are never "
    "added; the hazard is a runner who feels better and goes on while core climbs as before."
)

TRIALS_OF_COOLING = (
    "What people did (behaviour): published trials of cooling during exercise in the heat, taken together, found better "
    "performance (Tyler, Sunderland & Cheung 2015: standardised difference 0.76); they are small, mostly of trained men, "
    "not blinded, and this is no number of degrees."
)

TRIALS_OF_NECK_COOLING = (
    "What people did (behaviour): published trials of neck cooling in the heat are small, mostly of trained men on "
    "treadmills with little moving air, and not blinded; people went on longer or ran a few per cent farther, with core "
    "and heart rate the same at equal times and core sometimes higher at the end, and in moderate warmth little changed. "
    "Over all kinds of cooling during exercise the standardised difference in performance is 0.76 (Tyler, Sunderland & "
    "Cheung 2015), which is no number of degrees."
)


MELTED_IS_NOT_TAKEN = (
    "Mass melted times latent heat is not heat taken from the runner: part of the ice is melted by the air outside."
)

ICE_THAT_IS_STILL_THERE = (
    "Ice that is still there is cooling that did not happen; it lasts because it is insulated or because little heat "
    "reaches it."
)


def not_medical_advice(band_K=None):
    """Return the first line of every output.

    Parameters
    ----------
    band_K : float, optional
        Half-width of the 90 % band of modelled core [K], printed when known.

    Returns
    -------
    str
        Two sentences.
    """
    band = "" if band_K is None else f", band ±{band_K:.1f} °C"
    return f"Not medical advice; modelled core is not measured core{band}. {DECIDERS}"


def one_line(device=False):
    """Return the shortest form, for quiet runs; it cannot be shortened further."""
    line = f"Not medical advice; modelled core is not measured core. {SYMPTOMS_OVERRULE}"
    return f"{line} {FEEL_COOLER}" if device else line


def for_device():
    """Return the sentences every device result and device card carries."""
    return [FEEL_COOLER, CAP_DOES_NOT_BOUND_CORE, COLD_INJURY]


def for_card():
    """Return the sentences at the top of every device card and every bench test, cold injury in full."""
    return [FEEL_COOLER, CAP_DOES_NOT_BOUND_CORE, COLD_INJURY_IN_FULL]


def for_result(*, device=False, capped=False, uncompensable=False, band_K=None):
    """Return the cautions of one simulated result, most general first.

    Parameters
    ----------
    device : bool
        A cooling device takes part.
    capped : bool
        A heart-rate cap takes part.
    uncompensable : bool
        The balance is limited by the air or by the sweat rate at some time.
    band_K : float, optional
        Half-width of the 90 % band of modelled core [K].

    Returns
    -------
    list of str
        Sentences for the caution strip, the report and the JSON key ``cautions``.
    """
    lines = [not_medical_advice(band_K), SYMPTOMS_OVERRULE, PLANNING_ONLY]
    if uncompensable:
        lines.append(UNCOMPENSABLE)
    if device:
        lines += for_device()
    elif capped:
        lines.append(CAP_DOES_NOT_BOUND_CORE)
    return lines


def in_full():
    """Return every caution of a session report, stop signs first."""
    return [
        STOP_NOW,
        STILL_SWEATING,
        HEAT_STROKE,
        not_medical_advice(),
        SYMPTOMS_OVERRULE,
        PLANNING_ONLY,
        MEASURED_CORE_ABOVE_39,
        CAP_DOES_NOT_BOUND_CORE,
        FEEL_COOLER,
        COLD_INJURY_IN_FULL,
        WALK_AT_THE_CAP,
        NEVER_ALONE,
        WHO_SHOULD_NOT,
        PREGNANCY_AND_UNDER_18,
        BETA_BLOCKERS,
        DRINK,
        UNCOMPENSABLE,
    ]
