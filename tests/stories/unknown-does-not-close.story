# The sensor falls silent while the water is too warm: the alarm stays, and the silence is an alarm of its own.
every 30s  display-temperature  25.4 x10, 29.0 x10, - x40
at  7m     expect alarm    limit/display-temperature  unacknowledged
at  7m     expect page     first opened
at  8m     acknowledge     limit/display-temperature  by first
at 17m     expect unknown  limit/display-temperature
at 17m     expect alarm    limit/display-temperature  acknowledged
at 17m     expect alarm    silent-point/display-temperature  unacknowledged
at 17m     expect page     first opened
at 17m     acknowledge     silent-point/display-temperature  by first
at 40m     expect no page
