# A gateway was off for a quarter of an hour at night, while Tankbell watched. When it goes on, its stamps show the hole: one row for its three points.
starts 2026-03-03T09:00:00Z                                        # 02:00 in Denver: silence rings in the morning
every 30s  display-temperature  25.4 x20, - x30, 25.4 x40
every 30s  heater-1-power       295 x20, - x30, 295 x40
every 30s  chiller-power        0 x20, - x31, 0 x40
at 27m      expect journal "about 91 readings of 3 points are missing"
at 27m30s   expect journal "(nothing arrived)"
at 40m      expect no page
