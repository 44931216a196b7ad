# The compressor restarts every three minutes, an hour long.
every 30s  display-temperature  26.4 x150
every 30s  chiller-power  340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2, 340 x2, 0 x2
at  5m     expect alarm  chiller-short-cycling/chiller  normal             # two short pauses prove nothing yet
at  7m     expect alarm  chiller-short-cycling/chiller  unacknowledged
at  7m     expect page   first opened
at  8m     acknowledge   chiller-short-cycling/chiller  by first
at 74m     expect no page
