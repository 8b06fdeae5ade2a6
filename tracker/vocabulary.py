"""The words shared by every layer: one word for one thing, in code, screens and files alike."""

from __future__ import annotations

from enum import StrEnum


class Role(StrEnum):
    """What a person may do in a programme."""

    COORDINATOR = "coordinator"
    OFFICER = "officer"
    ENGINEER = "engineer"
    FUNDER = "funder"
    ADMINISTRATOR = "administrator"


class UnitKind(StrEnum):
    """One thing that can be up or down."""

    CABIN = "cabin"
    URINAL = "urinal"
    TAP = "tap"
    MACHINE = "machine"
    INCINERATOR = "incinerator"
    TANK = "tank"
    METER = "meter"


class Group(StrEnum):
    """Whom a block is for."""

    GIRLS = "girls"
    BOYS = "boys"
    EVERYONE = "everyone"
    STAFF = "staff"


class Sex(StrEnum):
    """Enrolment and attendance are counted by sex only; nothing points at one pupil."""

    GIRLS = "girls"
    BOYS = "boys"


class CountWay(StrEnum):
    """How the visits of a unit are recorded in the week sheet."""

    COUNTER = "counter"  # the unit counts; the week's reading is copied
    DRAWN = "drawn"  # tallied on two breaks drawn at random
    GRID = "grid"  # every break of every day is tallied
    WEEK_TOTAL = "week_total"  # one tally for the whole week
    NONE = "none"  # visits of this unit are not recorded


WHOLE_WEEK = (CountWay.GRID, CountWay.WEEK_TOTAL)  # a tally of drawn breaks is no week's figure


class Source(StrEnum):
    """Where a record came from."""

    TALLY = "tally"  # a person's week sheet
    DEVICE = "device"  # a feed of the unit itself
    OFFICER = "officer"
    ENGINEER = "engineer"


class FittingKind(StrEnum):
    """A part that changes what a unit does or uses from a day on."""

    FLUSH_FIXED = "flush_fixed"  # ml a visit
    FLUSH_TWO_STAGE = "flush_two_stage"  # ml for a short visit, long_ml for a long one
    FLUSH_POUR = "flush_pour"  # ml a visit, poured by hand
    FLUSH_NONE = "flush_none"
    VACUUM = "vacuum"  # the flush takes factor_permille of its litres
    PRE_WASH = "pre_wash"  # ml a visit, before entry
    FLOOR_WASH = "floor_wash"  # ml after every every_n visits
    TAP = "tap"  # ml a wash


class LitresBasis(StrEnum):
    """How a fitting's litres are known."""

    MEASURED = "measured"  # at commissioning
    CLAIM = "claim"  # the maker's figure


class Basis(StrEnum):
    """How a figure came about, strongest first."""

    COUNTED = "counted"
    METERED = "metered"
    SAMPLED = "sampled"
    MODELLED = "modelled"
    ESTIMATED = "estimated"


class State(StrEnum):
    """What somebody saw when looking at a unit."""

    WORKING = "working"
    PARTLY = "partly working"
    OUT = "out of service"


class Cause(StrEnum):
    """Why a unit could not be used."""

    BROKEN = "broken"
    BLOCKED = "drain blocked"
    LOW_WATER = "low water"
    NO_POWER = "no power"
    LOCKED = "locked"
    DIRTY = "dirty"
    DANGER = "danger"
    PLANNED = "planned work"
    EMPTY = "sold out"  # machines only; counted as supply, not as a repair
    UNKNOWN = "not known"


class Danger(StrEnum):
    """What "report now" is for."""

    SMOKE = "smoke or fire"
    WIRES = "bare wires or shock"
    LOCKED_IN = "somebody locked in"
    FLOOD = "flood"
    OTHER = "other danger"


class Quantity(StrEnum):
    """What a dial or counter shows. Readings are whole dial steps."""

    WATER = "water"
    VISITS = "visits"
    LONG_VISITS = "long_visits"
    VENDS = "vends"
    ENERGY = "energy"


class WaterSource(StrEnum):
    """Where water came from. Recovered on site is a source of its own."""

    MAINS = "mains"
    TANKER = "tanker"
    RAIN = "rain"
    RECOVERED = "recovered"


class Every(StrEnum):
    """How often a number of cleaning cycles is run."""

    SCHOOL_DAY = "school day"
    WEEK = "week"  # a week with school


class PowerPart(StrEnum):
    """What energy was used for."""

    LIGHT_FAN = "light and fan"
    PUMP = "pump"
    TREATMENT = "seat or floor treatment"
    BURN = "incinerator"


class EnergySource(StrEnum):
    """Where energy came from besides the metered supply."""

    SOLAR = "solar"
    RECOVERED = "recovered"


class TopicKind(StrEnum):
    """What a lesson was about, whatever its topic is called."""

    MENSTRUAL = "menstrual health"
    HANDWASHING = "hand washing"
    TOILETS = "toilet use"
    OTHER = "other"


class Signal(StrEnum):
    """What a device reports of a unit by itself. The first five are counters and bear the names of quantities."""

    WATER = "water"
    VISITS = "visits"
    LONG_VISITS = "long_visits"
    VENDS = "vends"
    ENERGY = "energy"
    LEVEL = "level"  # of a tank or bin, as a share of full
    LOW_WATER = "low water"  # true while the tank is too low
    FAULT = "fault"  # true while the unit says it is out of use


class SheetState(StrEnum):
    """A draft is a payload, not facts; the other three count in reports."""

    DRAFT = "draft"
    SENT = "sent"
    QUERIED = "queried"
    ACCEPTED = "accepted"


class DayMark(StrEnum):
    """What the coordinator says about a day of school."""

    LOST = "lost"
    HALF = "half"
    EXAM = "exam"
    OUT_OF_HOURS = "out of hours"


class ClosureScope(StrEnum):
    """Whom a closure day closes."""

    PROGRAMME = "programme"
    AREA = "area"
    SCHOOL = "school"


class BeforeKind(StrEnum):
    """What stood at the school before."""

    NOTHING = "nothing"
    POUR_FLUSH = "pour flush"
    CISTERN = "cistern"


class PlaceKind(StrEnum):
    """Where supplies can be. The last four are the outside of the ledger."""

    STORE = "store"
    CUPBOARD = "cupboard"
    MACHINE = "machine"
    VEHICLE = "vehicle"
    SUPPLIER = "supplier"
    GIVEN_OUT = "given out"
    LOSS = "loss"
    DIFFERENCE = "count difference"


class MoveReason(StrEnum):
    """Why supplies moved."""

    RECEIPT = "receipt"
    DELIVERY = "delivery"
    REFILL = "refill"
    GIVEN_OUT = "given out"
    LOSS = "loss"
    LOAN = "loan"
    COUNT_DIFFERENCE = "count difference"
    LOAN_RETURNED = "loan returned"
    DAMAGE = "damage"
    EXPIRED = "expired"
    TRANSFER = "transfer"  # onto a vehicle, off it, or between places of the programme
    LOT_ASSUMED = "lot assumed"  # nobody named the lot: the first to expire is taken to have left


class WorkedOut(StrEnum):
    """Why the ledger itself made a move, so that what was reported adds up."""

    SHORTFALL = "shortfall"  # more left a place than was on record there
    COUNT = "count"  # a count differs from the record
    OPENING = "opening"  # a place's first count
    GIVEN_OUT = "given out"  # a machine: what was put in less what is left
    LOT = "lot"  # the lot that left was not named


class Why(StrEnum):
    """What somebody says of a difference between a count and the record."""

    MISCOUNT = "miscount"
    NOT_WRITTEN = "not written down"
    DAMAGE = "damage"
    LOSS = "loss"
    THEFT = "theft"
    JAM = "jam"
    FREE_VENDS = "free vends"
    OTHER = "other"


class GivenWay(StrEnum):
    """How napkins reach girls from a place."""

    SOLD = "sold"
    FREE = "free from the machine"
    HANDED_OUT = "handed out"
    TAKE_HOME = "take-home pack"


class RoundState(StrEnum):
    """How far a restocking round is."""

    PLANNED = "planned"
    UNDER_WAY = "under way"
    CLOSED = "closed"


class OrderState(StrEnum):
    """How far an order to a supplier is. Closed: the rest will not come."""

    DRAFT = "draft"
    SENT = "sent"
    PART_RECEIVED = "part received"
    RECEIVED = "received"
    CLOSED = "closed"


class StopState(StrEnum):
    """What became of a stop of a round."""

    TO_DO = "to do"
    DONE = "done"
    NOT_REACHED = "not reached"


class LeftOut(StrEnum):
    """Why a school has no place in a round."""

    CLOSED = "closed"  # it receives nothing on any day of the round
    TOO_FAR = "too far"  # even alone it cannot be served within its hours and the hours of a vehicle
    TOO_LARGE = "too large"  # its load is larger than the room of every vehicle
    NO_ROOM = "no room left"
    NO_STOPS = "no stops left"
    NO_HOURS = "no hours left"
    BY_HAND = "taken out by hand"


class HandWhy(StrEnum):
    """Why something else was handed over, or came back, than was planned or loaded."""

    NO_PLACE = "no place for it at the school"
    NOT_WANTED = "the school did not want it"
    MORE_ASKED = "the school asked for more"
    SHORT = "not enough on the vehicle"
    DAMAGED = "damaged on the way"
    LOST = "lost on the way"
    MISCOUNT = "counted wrongly when loading"
    OTHER = "another reason"


class Route(StrEnum):
    """Where used supplies go."""

    BURN = "burn"
    COLLECTION = "collection"
    BURIAL = "burial"
    OTHER = "other"


class VisitPurpose(StrEnum):
    """Why somebody came to look."""

    LOOK = "local look"
    SERVICE = "service visit"
    REPAIR = "repair"
    METER = "meter reading"


class MoneyKind(StrEnum):
    """Costs and income of keeping units open."""

    SERVICE = "service"
    WARRANTY = "warranty"
    SUPPLIES = "supplies"
    WATER = "water"
    POWER = "power"
    VEND_INCOME = "vend income"
    DISPLAY_RENT = "display rent"


class Measure(StrEnum):
    """What is compared between units; each is a ratio of two totals."""

    LITRES_PER_VISIT = "litres per visit"
    AVAILABILITY = "availability"
    OUTAGES_PER_1000_VISITS = "outages per 1,000 visits"
    COST_PER_VISIT = "cost per visit"


class Better(StrEnum):
    """Which direction a declared success has."""

    LOWER = "lower"
    HIGHER = "higher"


class TrialSide(StrEnum):
    """On which side of a trial a unit stands."""

    FITTED = "fitted"  # gets the fitting
    COMPARISON = "comparison"  # stays as it is


class SpotFigure(StrEnum):
    """A week's figure of a school that somebody else can count again from the paper, the log or the shelf."""

    VISITS = "visits tallied"
    BURNS = "burns started"
    LEFT = "napkins left"
    SOLD_OUT = "machine days sold out"
    LESSONS = "minutes of lessons"


class ReportKind(StrEnum):
    """The documents that can be published."""

    SCHOOL_TERM = "school term report"
    PROGRAMME_TERM = "programme term report"
    IMPACT = "impact summary"
    CERTIFICATE = "availability certificate"


class WorkPaper(StrEnum):
    """Papers of the day's work, laid out like reports and never published."""

    RESTOCK_PLAN = "restocking plan"
    PAYS_BACK = "which fitting pays back"
    OPEN_COSTS = "what keeping the units open costs"


CABIN_LIKE = (UnitKind.CABIN, UnitKind.URINAL)
VISITED = (UnitKind.CABIN, UnitKind.URINAL, UnitKind.TAP)
INNER_PLACES = (PlaceKind.STORE, PlaceKind.CUPBOARD, PlaceKind.MACHINE, PlaceKind.VEHICLE)
FLUSH_KINDS = (
    FittingKind.FLUSH_FIXED,
    FittingKind.FLUSH_TWO_STAGE,
    FittingKind.FLUSH_POUR,
    FittingKind.FLUSH_NONE,
)
OTHER_TIMES = "other"  # the slot of visits outside breaks
ALL_DAY = "all"  # the slot of a day's or a week's total
