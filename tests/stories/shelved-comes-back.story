# Shelved with an end: silent until then, and back by itself, because the water is still too warm.
every 30s  display-temperature  25.4 x10, 29.0 x200
at  7m     expect page   first opened
at  8m     shelve        limit/display-temperature  for 30m  by first
at  8m     expect alarm  limit/display-temperature  shelved
at 37m     expect no page
at 38m     expect alarm  limit/display-temperature  unacknowledged
at 38m     expect page   first repeated
at 39m     acknowledge   limit/display-temperature  by first
at 1h      expect no page
