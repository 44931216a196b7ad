# The thermometer falls silent at night: it is on the list at once, and rings at seven in the morning of the person on call.
starts 2026-03-03T09:00:00Z                                       # 02:00 in Denver
every 30s  display-temperature  25.4 x20
at 30m     expect alarm    silent-point/display-temperature  unacknowledged
at 4h59m   expect no page
at 5h      expect page     first morning                          # 07:00
at 5h1m    acknowledge     silent-point/display-temperature  by first
at 6h      expect no page
