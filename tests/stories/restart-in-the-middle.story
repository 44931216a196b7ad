# Killed between the page and the acknowledgement: nothing is rung twice, and the second person is still paged in time.
every 30s  display-temperature  25.4 x10, 29.0 x40
at  6m     restart                                                # while the on-delay runs
at  7m     expect page   first opened
at  9m     restart
at 12m     expect page   second escalated
at 13m     acknowledge   limit/display-temperature  by second
at 14m     restart
at 14m     expect alarm  limit/display-temperature  acknowledged
at 20m     expect no page
