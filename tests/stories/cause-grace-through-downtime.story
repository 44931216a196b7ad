# Tankbell is down for ten minutes in the middle of the grace: that time does not count, and the temperature asks for somebody ten minutes later.
every 30s  return-pump-power    55 x10, 0 x80, 55 x200
every 30s  display-temperature  25.4 x10, 23.4..22.6 x20, 22.6 x260
at 20m     expect page   first opened about return-pump-stopped/return-pump
at 21m     acknowledge   return-pump-stopped/return-pump  by first
at 51m     expect page   first returned about return-pump-stopped/return-pump
at 52m     restart after 10m
at 64m     expect alarm  limit/display-temperature  suppressed
at 64m     expect no page
at 66m     expect page   first surfaced about limit/display-temperature
at 67m     acknowledge   limit/display-temperature  by first
at  2h     expect no page
