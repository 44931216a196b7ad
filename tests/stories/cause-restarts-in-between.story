# Killed while it holds back, while it suppresses and during the grace: the same pages at the same times.
every 30s  return-pump-power  55 x10, 0 x80, 55 x200
every 30s  display-temperature   25.4 x10, 23.4..22.6 x20, 22.6 x260
at 13m     restart
at 14m     expect alarm  limit/display-temperature  normal
at 20m     expect page   first opened about return-pump-stopped/return-pump
at 21m     acknowledge   return-pump-stopped/return-pump  by first
at 30m     restart
at 49m     expect alarm  limit/display-temperature  behind return-pump-stopped/return-pump
at 51m     expect page   first returned about return-pump-stopped/return-pump
at 52m     restart
at 54m     expect alarm  limit/display-temperature  suppressed
at 56m     expect page   first surfaced about limit/display-temperature
at 57m     acknowledge   limit/display-temperature  by first
at  2h     expect no page
