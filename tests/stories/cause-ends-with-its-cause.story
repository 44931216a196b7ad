# The pump runs again and the display warms up within the grace: nobody is rung a second time.
every 30s  return-pump-power  55 x10, 0 x80, 55 x200
every 30s  display-temperature   25.4 x10, 23.4..22.6 x20, 22.6 x66, 25.0 x200
at 20m     expect page   first opened about return-pump-stopped/return-pump
at 21m     acknowledge   return-pump-stopped/return-pump  by first
at 49m     expect alarm  limit/display-temperature  behind return-pump-stopped/return-pump
at 51m     expect page   first returned about return-pump-stopped/return-pump
at 56m     expect alarm  limit/display-temperature  normal
at  2h     expect no page
