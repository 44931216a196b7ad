# Somebody shelves the stopped pump: a shelf for one alarm silences no other. The cold display asks for somebody after the grace.
every 30s  return-pump-power  55 x10, 0 x290
every 30s  display-temperature   25.4 x10, 23.4..22.6 x20, 22.6 x270
at 20m     expect page   first opened about return-pump-stopped/return-pump
at 22m     shelve        return-pump-stopped/return-pump for 8h by first
at 26m     expect alarm  limit/display-temperature  suppressed
at 28m     expect page   first surfaced about limit/display-temperature
at 29m     acknowledge   limit/display-temperature  by first
at  2h     expect no page
