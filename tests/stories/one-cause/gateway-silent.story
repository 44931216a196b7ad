# A gateway goes silent with four points behind it: one page for the gateway, and its points come back by themselves with it.
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
every 30s  bar/uv-power                 18 x400
at 15m     expect page   first opened about silent-gateway/gateway-plugs
at 17m     expect alarm  silent-point/heater-power     behind silent-gateway/gateway-plugs
at 17m     expect alarm  silent-point/skimmer-power    behind silent-gateway/gateway-plugs
at 17m     expect alarm  silent-point/light-power      behind silent-gateway/gateway-plugs
at 17m     expect alarm  silent-point/reservoir-level  behind silent-gateway/gateway-plugs
at 18m     acknowledge   silent-gateway/gateway-plugs  by first
at 41m     expect page   first returned about silent-gateway/gateway-plugs
at 41m     expect alarm  silent-point/heater-power     normal
at 41m     expect alarm  silent-point/reservoir-level  normal
at  3h     expect no page
