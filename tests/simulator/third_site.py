"""A site that no drill was written for: an odd tank as sump, a cylinder, a valve half shut."""

from __future__ import annotations

THIRD_SITE = """
[site]
id = "workshop"
name = "Workshop reef"

[water]
temperature = "25 degC"
evaporation = "1 %"

[chambers.display]
bottom = "1000 mm"
rim = "500 mm"
length = "1200 mm"
width = "500 mm"
displacement = "10 %"

[chambers.box]
bottom = "1150 mm"
rim = "350 mm"
length = "300 mm"
width = "120 mm"

[chambers.refugium]
bottom = "500 mm"
rim = "400 mm"
diameter = "400 mm"
displacement = "5 %"

[chambers.bay]
bottom = "100 mm"
rim = "450 mm"
length = "250 mm"
width = "300 mm"

[chambers.sump]
bottom = "100 mm"
rim = "450 mm"
displacement = "4 %"
level = "220 mm"
fillings = [
  { level = "0 mm", volume = "0 l" },
  { level = "100 mm", volume = "12 l" },
  { level = "250 mm", volume = "50 l" },
  { level = "450 mm", volume = "125 l" },
]

[passages.comb]
kind = "comb"
from = "display"
to = "box"
crest = "455 mm"
slots = 36
slot_width = "8 mm"
slot_height = "40 mm"

[passages.main-drain]
kind = "siphon-drain"
from = "box"
to = "bay"
mouth = "50 mm"
outlet = "200 mm"
pipe = "1-1/4 in sch40"
length = "0.9 m"
fittings = ["entrance-projecting", "gate-valve", "elbow-90", "exit"]
valve_open = "27 %"
level_run = { length = "400 mm", fall = "8 mm" }

[passages.open-drain]
kind = "open-drain"
from = "box"
to = "bay"
mouth = "150 mm"
outlet = "300 mm"
pipe = "1.5 in sch40"
length = "0.8 m"
fittings = ["entrance-projecting", "elbow-90", "exit"]
level_run = { length = "800 mm", fall = "8 mm" }

[passages.emergency-drain]
kind = "emergency-drain"
from = "box"
to = "bay"
mouth = "190 mm"
outlet = "350 mm"
pipe = "1.5 in sch40"
length = "0.8 m"
fittings = ["entrance-projecting", "exit"]

[passages.refugium-drain]
kind = "open-drain"
from = "refugium"
to = "bay"
mouth = "300 mm"
outlet = "350 mm"
pipe = "1 in sch40"
length = "0.4 m"
fittings = ["entrance-projecting", "exit"]

[passages.refugium-emergency]
kind = "emergency-drain"
from = "refugium"
to = "bay"
mouth = "330 mm"
outlet = "360 mm"
pipe = "1 in sch40"
length = "0.4 m"
fittings = ["entrance-projecting", "exit"]

[passages.slot]
kind = "under-baffle"
from = "bay"
to = "sump"
gap = "40 mm"
width = "300 mm"

[pumps.lifter]
from = "sump"
intake = "60 mm"
worn = "5 %"
speed = "90 %"
run_on = "2 s"
curve = [
  { flow = "0 l/min", head = "4 m" },
  { flow = "60 l/min", head = "3 m" },
  { flow = "120 l/min", head = "1.2 m" },
  { flow = "150 l/min", head = "0.1 m" },
]

[pumps.lifter.trunk]
pipe = "1-1/4 in sch40"
length = "0.3 m"
fittings = ["union"]

[passages.riser]
kind = "branch"
pump = "lifter"
to = "display"
outlet = "420 mm"
siphon_break = "458 mm"
pipe = "1-1/4 in sch40"
length = "1.6 m"
fittings = ["tee-run", "elbow-90", "elbow-90", "exit"]
valve_loss = 10

[passages.media-feed]
kind = "branch"
pump = "lifter"
to = "refugium"
outlet = "380 mm"
pipe = "1/2 in sch40"
length = "0.8 m"
fittings = ["tee-branch", "exit"]
canister = { loss = "900 mm", at_flow = "5 l/min" }

[water_change]
out_of = "bay"
into = "sump"
daily = "60 l"
tolerance = "6 %"

[sensors.display-high]
kind = "float"
chamber = "display"
height = "486 mm"
duty = "spill-edge"
pin = 5

[sensors.box-watch]
kind = "float"
chamber = "box"
height = "192 mm"
duty = "drain-watch"
pin = 6

[sensors.refugium-high]
kind = "float"
chamber = "refugium"
height = "370 mm"
duty = "spill-edge"
pin = 7

[sensors.sump-high]
kind = "float"
chamber = "sump"
height = "400 mm"
duty = "spill-edge"
pin = 8

[sensors.sump-low]
kind = "float"
chamber = "sump"
height = "110 mm"
duty = "dry-run"
pin = 9

[sensors.riser-flow]
kind = "flow-meter"
on = "riser"
pulses = "450 pulses/l"
tolerance = "5 %"
pin = 10

[sensors.pad]
kind = "leak"
place = "the floor under the bench"
pin = 11

[sensors.supply]
kind = "mains"
pin = 12

[outputs.lifter-relay]
kind = "pump"
pump = "lifter"
pin = 17
safe = "low"

[outputs.sounder]
kind = "sounder"
pin = 22
safe = "low"

[outputs.heartbeat]
kind = "heartbeat"
pin = 23
safe = "low"
"""
