"""Where everything sits: nodes, terms, the state vector, accumulators, device-row blocks. Compile-time constants.

Tissue temperatures come first, layer by layer (12 segments each), then blood and gut. Behind the fixed part of
the state vector each device row has a block of ``ROW_SIZE`` numbers.
"""

N_SEGMENTS = 12
CORE, MUSCLE, FAT, SKIN = 0, 12, 24, 36  # first node of each layer
BLOOD, GUT = 48, 49
N_NODES = 50

# Segments by number (order of parameters.SEGMENTS).
HEAD, FACE, NECK, CHEST, BACK, ABDOMEN, UPPER_ARMS, FOREARMS, HANDS, THIGHS, LOWER_LEGS, FEET = range(12)

# Heat terms: those across the body's boundary first, in the order the books use, then internal ones.
(
    METABOLIC,
    WORK,
    CONVECTION,
    LONG_WAVE,
    SOLAR,
    BREATH_VAPOUR,
    BREATH_DRY,
    EVAPORATION,
    DEVICES,
    CONDUCTION,
    BLOOD_FLOW,
) = range(11)
N_BOUNDARY_TERMS, N_TERMS = 9, 11
TERM_NAMES = (
    "metabolic_power",
    "external_work",
    "convection",
    "long_wave_radiation",
    "solar_radiation",
    "respiration_vapour",
    "respiration_dry",
    "evaporation",
    "devices",
)

MAX_ROWS = 32  # device rows a run may carry
N_COLUMNS = N_NODES + MAX_ROWS  # columns of the heat table: tissue nodes, then the skin patches under devices

# State vector: temperatures [°C] 0..49, then
RECTAL = 50  # rectal reading [°C]
FILM = 51  # water on the skin of each segment [kg], 12 numbers
LOST = 63  # water the body has given up [kg]
JOULES = 64  # time integrals of the nine boundary terms [J]
JOULES_WATER = 73  # heat content carried away by lost water [J]
SWEAT, DIFFUSED, EVAPORATED, DRIPPED, BREATHED, CONDENSED, RECEIVED, WICKED = range(
    74, 82
)  # water integrals [kg]
BASE = 82  # size of the fixed part

# Block of a device row, relative to BASE + row * ROW_SIZE.
PATCH_C = 0  # skin temperature under the device [°C]
PATCH_FILM = 1  # water on that skin [kg]
STORE_J = 2  # enthalpy of the store [J], zero when just melted
STORE_KG = 3  # filling and water held [kg]
OUTER_C = 4  # temperature of the outer side [°C]
OUTER_KG = 5  # condensed water on a vapour-tight outer side [kg]
FROM_SKIN, FROM_AIR, FROM_VAPOUR, WITH_WATER, RUN_OFF = range(
    6, 11
)  # heat integrals into the device, and taken by its drips [J]
ROW_CONDENSED, ROW_EVAPORATED, ROW_DRIPPED, ROW_WICKED, ROW_CHARGED_KG, ROW_CHARGED_J, ROW_DRUNK = range(11, 18)
SHADED = 18  # sun kept off the skin [J]
ROW_FILLS = 19  # spare charges used by the rule `refill_at_share`
ROW_SIZE = 20

# Fast states, updated in closed form.
OXYGEN_FAST, OXYGEN_SLOW, HEART_WORK, DISTANCE, RUNNING_S = range(5)
N_FAST = 5

# Per-segment coefficients of a step: rows of the ``seg`` table.
(
    G_CORE_MUSCLE,
    G_MUSCLE_FAT,
    G_FAT_SKIN,
    B_CORE,
    B_MUSCLE,
    B_FAT,
    SKIN_SHARE,
    FREE_AREA,
    FREE_SHARE,
    H_FORCED,
    DRY_SHARE,
    VAPOUR_RESISTANCE,
    SUN,
    SWEAT_SHARE,
    REST_CORE,
    REST_MUSCLE,
    REST_SKIN,
    WORK_SHARE,
    TRUNK_WEIGHT,
    INVERSE_AREA,
    FILM_SCALE,
    AIR_SHARE,
) = range(22)
N_COEFFICIENTS = 22

# Status of a run. Sentences are outside the kernels, in status.py.
DONE, NOT_FINITE, OUT_OF_RANGE = range(3)
STATUS_SENTENCES = (
    "done",
    "a state became not finite: the step was too long for this runner or device",
    "the blood left 20 to 47 °C: the inputs are outside what the model can describe",
)

# What can limit the balance.
LIMIT_NOTHING, LIMIT_AIR, LIMIT_SWEAT = range(3)
LIMIT_MEANINGS = ("nothing", "air", "sweat_rate")
