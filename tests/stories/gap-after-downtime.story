# Tankbell was down for an hour and nobody kept the readings: one row says what is missing. The level sensor had fallen silent before: no gap.
every 30s  display-temperature  25.4 x400
every 30s  heater-1-power       295 x400
every 60s  reservoir-level      320 x10
at 30m      restart after 1h
at 1h31m    expect no journal "missing"                            # what was held back has two minutes to arrive
at 1h33m    expect journal "waiting hall: about 240 readings of 2 points are missing from Tue 3 Mar 2026, 13:30 MST to Tue 3 Mar 2026, 14:30 MST (Tankbell was not running)"
at 3h       expect no page
