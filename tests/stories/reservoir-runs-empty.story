# The top-off reservoir runs low and then empty: one cause, one page.
every 60s  reservoir-level  120..0 x240, 0 x30
every 30s  display-temperature  25.4 x540
at  3h     expect alarm  top-off-low/reservoir    unacknowledged            # on the list since 20 %, 80 mm
at  3h     expect no page
at  3h24m  expect alarm  top-off-empty/reservoir  unacknowledged            # 5 % of 400 mm is reached at 3h20m
at  3h24m  expect page   first opened
at  3h25m  acknowledge   top-off-empty/reservoir  by first
at  3h40m  expect alarm  top-off-low/reservoir    returned                  # the empty one says it all
at  4h25m  expect no page
