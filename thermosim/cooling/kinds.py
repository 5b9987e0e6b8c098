"""The kinds of device that session files, device cards and the command line know by name."""

from thermosim.cooling.around import CoolBreath, Fan, IdealSink, MistingFan, Shade, Sham
from thermosim.cooling.cloths import ColdTowel, WetCap, WetCloth, WetSleeves
from thermosim.cooling.collars import IceCollar
from thermosim.cooling.packs import IcedCap, IcedSleeves, IceInHand, IcePockets, IceVest, PhaseChangeCollar
from thermosim.cooling.water import Drink, HandDip, IceSlurry, Immersion, PouredWater, Sponge

KINDS = {
    kind.name: kind
    for kind in (
        IceCollar,
        PhaseChangeCollar,
        IcedCap,
        WetCloth,
        WetCap,
        ColdTowel,
        PouredWater,
        Sponge,
        IceVest,
        IceSlurry,
        Drink,
        HandDip,
        IceInHand,
        WetSleeves,
        IcedSleeves,
        IcePockets,
        Fan,
        MistingFan,
        Shade,
        CoolBreath,
        Immersion,
        Sham,
        IdealSink,
    )
}
TREATMENT_ONLY = ("immersion",)  # emergency treatment, never a race device
