# A gateway goes silent with its points behind it, and comes back: one page, seen by every kind of rule there is.
every 30s  quay-lobby/supply            120 x400
every 30s  lobby/temperature            25.4 x400
every 30s  bar/temperature              25.0 x400
every 30s  lobby/return-a-power         55 x400
every 30s  lobby/return-b-power         55 x400
every 30s  bar/return-power             38 x400
every 30s  lobby/heater-power           0 x20, - x60, 0 x320
every 30s  lobby/skimmer-power          25 x20, - x60, 25 x320
every 30s  lobby/light-power            180 x20, - x60, 180 x320
every 30s  lobby/reservoir-level        300 x20, - x60, 300 x320
every 30s  bar/uv-power                 18 x20, - x60, 18 x320
at 20m     expect page   first opened about silent-gateway/gateway
at 21m     expect alarm  lobby/silent-point/reservoir-level  behind silent-gateway/gateway
at 22m     acknowledge   silent-gateway/gateway  by first
at 44m     expect page   first returned about silent-gateway/gateway
at  3h     expect no page
