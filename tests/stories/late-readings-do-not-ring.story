# A gateway that stored and forwarded: the hot hour is history when it arrives, and rings nobody.
every 30s  display-temperature  25.4 x20, 31.0 x60, 25.4 x40  stored until 2h20m
from 2h30m every 30s  display-temperature  25.4 x120
at 2h29m   expect alarm  limit/display-temperature  normal
at  9m     expect alarm  silent-point/display-temperature  unacknowledged    # nothing current has come since the start
at  9m     expect page   first opened
at 10m     acknowledge   silent-point/display-temperature  by first
at 2h45m   expect alarm  limit/display-temperature  normal
at 2h45m   expect alarm  silent-point/display-temperature  normal
at 2h45m   expect page   first returned
