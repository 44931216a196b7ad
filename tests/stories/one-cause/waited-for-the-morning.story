# The gateway of the plugs is silent at night, which can wait for the morning; that the mains are gone cannot, and is told at once, the gateway under it.
starts 2026-03-03T09:00:00Z                                                      # 02:00 in Denver
every 30s  quay-lobby/supply            120 x80, 0 x320
every 30s  lobby/temperature            25.4 x400
every 30s  bar/temperature              25.0 x400
every 30s  lobby/return-a-power         55 x81, 0 x319
every 30s  lobby/return-b-power         55 x81, 0 x319
every 30s  bar/return-power             38 x81, 0 x319
every 30s  lobby/heater-power           0 x20
every 30s  lobby/skimmer-power          25 x20
every 30s  lobby/light-power            180 x20
every 30s  lobby/reservoir-level        300 x20
every 30s  bar/uv-power                 18 x80
at 20m     expect alarm  silent-gateway/gateway-plugs  unacknowledged
at 39m     expect no page
at 42m     expect page   first opened about site-power-lost/supply
at 42m     expect alarm  silent-gateway/gateway-plugs  behind site-power-lost/supply    # nobody had been rung for it yet
at 43m     acknowledge   site-power-lost/supply  by first
at  3h19m  expect no page
