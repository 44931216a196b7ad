# The cold display rings before its cause shows: it stays with whoever was rung, and once the cause is paged nobody is rung for the display any more.
every 30s  quay-lobby/supply            120 x400
every 30s  lobby/temperature            25.4 x10, 22.6 x390
every 30s  bar/temperature              25.0 x400
every 30s  lobby/return-a-power         55 x16, 0 x384
every 30s  lobby/return-b-power         55 x400
every 30s  bar/return-power             38 x400
every 30s  lobby/heater-power           0 x400
every 30s  lobby/skimmer-power          25 x400
every 30s  lobby/light-power            180 x400
every 30s  lobby/reservoir-level        300 x400
every 30s  bar/uv-power                 18 x400
at  7m     expect page   first opened about limit/temperature
at 23m     expect page   first opened about return-pump-stopped/return-a         # stopped at 8m
at 24m     expect alarm  limit/temperature  unacknowledged
at 24m     expect journal "Display temperature out of limits: explained by Return pump A stopped"
at 40m     expect no page                                                        # the second person's turn for the display would have been at 37m
at 41m     acknowledge   return-pump-stopped/return-a  by first
at 41m     expect alarm  limit/temperature  acknowledged                         # one tap for both
at  3h     expect no page
