# The return pump stops, and the display, cut off from its heater, cools below its limit before the pump's own delay is over: one page, for the pump.
every 30s  return-pump-power  55 x10, 0 x290
every 30s  display-temperature   25.4 x10, 23.4..22.6 x20, 22.6 x270          # below 23 at about 10m, out of its own delay at 12m
at 13m     expect alarm  limit/display-temperature  normal                      # held back: the pump may be the cause
at 20m     expect page   first opened about return-pump-stopped/return-pump
at 20m     expect alarm  limit/display-temperature  behind return-pump-stopped/return-pump
at 21m     acknowledge   return-pump-stopped/return-pump  by first
at  2h     expect no page
