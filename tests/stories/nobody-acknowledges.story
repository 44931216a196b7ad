# Nobody acknowledges: the second person is paged after five minutes.
every 30s  display-temperature  25.4 x10, 29.0 x40
at  6m     expect alarm  limit/display-temperature  normal            # breached at 5m, on-delay 2m
at  7m     expect alarm  limit/display-temperature  unacknowledged
at  7m     expect page   first opened
at 11m     expect no page
at 12m     expect page   second escalated
at 13m     acknowledge   limit/display-temperature  by second
at 20m     expect no page
