# Whoever acknowledges stops the escalation; when it is over, those who were rung are told.
every 30s  display-temperature  25.4 x10, 29.0 x30, 25.4 x20
at  7m     expect alarm  limit/display-temperature  unacknowledged
at  7m     expect page   first opened
at  9m     acknowledge   limit/display-temperature  by first
at  9m     expect alarm  limit/display-temperature  acknowledged
at 18m     expect no page                                        # the second would have been paged at 12m
at 22m     expect alarm  limit/display-temperature  normal       # back inside at 20m, off-delay 2m
at 22m     expect page   first returned
