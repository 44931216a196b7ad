# The pump runs again, but the display stays cold: after a grace of five minutes the temperature asks for somebody by itself.
every 30s  return-pump-power  55 x10, 0 x80, 55 x200
every 30s  display-temperature   25.4 x10, 23.4..22.6 x20, 22.6 x260
at 20m     expect page   first opened about return-pump-stopped/return-pump
at 21m     acknowledge   return-pump-stopped/return-pump  by first
at 49m     expect alarm  limit/display-temperature  behind return-pump-stopped/return-pump
at 51m     expect page   first returned about return-pump-stopped/return-pump       # runs again at 45m, off-delay 5m
at 54m     expect alarm  limit/display-temperature  suppressed                           # the grace
at 56m     expect page   first surfaced about limit/display-temperature
at 57m     acknowledge   limit/display-temperature  by first
at  2h     expect no page
