"""Tables of how written short forms are read aloud in English: units, signs, abbreviations, terms."""

from __future__ import annotations

from collections.abc import Mapping


def _table(text: str) -> dict[str, tuple[tuple[str, ...], ...]]:
    """``written = spoken / other way of speaking`` line by line."""
    out = {}
    for line in text.strip().splitlines():
        written, _, spoken = line.strip().partition(" = ")
        out[written] = tuple(tuple(way.split()) for way in spoken.split(" / "))
    return out


Readings = Mapping[str, tuple[tuple[str, ...], ...]]

#: Units after a number, in the plural. Names of the SI Brochure in British spelling; others are
#: common practice.
UNITS: Readings = _table("""
mm = millimetres
cm = centimetres
m = metres
km = kilometres
µm = micrometres / microns
μm = micrometres / microns
um = micrometres / microns
nm = nanometres
ml = millilitres / mils
mL = millilitres / mils
µl = microlitres
l = litres
L = litres
mg = milligrams
g = grams
kg = kilograms
s = seconds
sec = seconds
ms = milliseconds
min = minutes
mins = minutes
h = hours
hr = hours
hrs = hours
d = days
Hz = hertz
kHz = kilohertz
MHz = megahertz
V = volts
kV = kilovolts
kVp = kilovolts peak / K V P
mA = milliamps / milliamperes
W = watts
N = newtons
Ncm = newton centimetres
N·cm = newton centimetres
Pa = pascals
kPa = kilopascals
MPa = megapascals
bar = bar
dB = decibels
rpm = R P M / revolutions per minute
ppm = P P M / parts per million
°C = degrees Celsius / degrees
°F = degrees Fahrenheit / degrees
° = degrees
% = percent
‰ = per mille
x = times
× = times
mm² = square millimetres
mm2 = square millimetres
cm² = square centimetres
mm³ = cubic millimetres
mW/cm² = milliwatts per square centimetre
""")

#: Signs that stand alone or inside a token.
SIGNS: Readings = _table("""
+ = plus / and
± = plus or minus
= = equals
≈ = about / approximately
~ = about / approximately
< = less than / below
> = more than / greater than / above
≤ = at most / less than or equal to
≥ = at least / greater than or equal to
& = and
@ = at
→ = to
# = number / size
№ = number
½ = a half / one half / half
¼ = a quarter / one quarter
¾ = three quarters
× = times / by
/ = slash / or / per
§ = section
° = degrees
% = percent
""")

#: Abbreviations, in small letters without their last full stop.
ABBREVIATIONS: Readings = _table("""
e.g = for example
i.e = that is
etc = et cetera
vs = versus
viz = namely
cf = compare
approx = approximately
ca = about / circa
incl = including
excl = excluding
resp = respectively
max = maximum / max
min = minimum / minutes
temp = temperature
conc = concentration
diam = diameter
avg = average
dept = department
dr = doctor
prof = professor
mr = mister
mrs = missus
ms = miss
st = saint
no = number / no
nos = numbers
nr = number
fig = figure
figs = figures
vol = volume
ch = chapter
ref = reference
dx = diagnosis
tx = treatment
rx = prescription
hx = history
""")
#: Those that are plain words when no full stop follows.
ONLY_WITH_STOP = frozenset({"no", "min", "max", "ms", "st", "ch", "ca", "fig", "figs", "temp"})

#: Terms that are not read as they are spelled. Generic chemistry and anatomy.
TERMS: Readings = _table("""
NaOCl = sodium hypochlorite / N A O C L / hypochlorite
NaCl = sodium chloride / saline
H2O2 = hydrogen peroxide
H₂O₂ = hydrogen peroxide
Ca(OH)2 = calcium hydroxide
Ca(OH)₂ = calcium hydroxide
CaOH = calcium hydroxide
CO2 = C O two / carbon dioxide
CO₂ = C O two / carbon dioxide
O2 = oxygen / O two
O₂ = oxygen / O two
H2O = water
ZnO = zinc oxide
NiTi = nickel titanium / N I T I / night eye
pH = P H
MB1 = M B one / mesiobuccal one
MB2 = M B two / mesiobuccal two
MB3 = M B three
DB = D B / distobuccal
ML = M L / mesiolingual
DL = D L / distolingual
WL = working length / W L
EWL = E W L / estimated working length
RCT = R C T / root canal treatment
CBCT = C B C T / cone beam
EDTA = E D T A
MTA = M T A
PDL = P D L / periodontal ligament
CEJ = C E J
LED = L E D
3D = three D
2D = two D
x-ray = X ray
X-ray = X ray
GP = G P / gutta percha
SEM = S E M
ISO = I S O / iso
FDI = F D I
PPE = P P E
""")
