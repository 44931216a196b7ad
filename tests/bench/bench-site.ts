/** The invented site of the ingest bench: fifty small tanks with four points each, and the messages they send. */
export const benchTanks = 50;
export const benchUser = 's';

/** Every rule kind that finds its points is on. */
export function benchFleet(): string {
  const tank = (i: number): string => `
          - id: t${i}
            name: Tank ${i} (invented)
            water: reef
            display: 500 L
            equipment:
              - { id: heater, kind: heater, nameplate: 300 W, setpoint: 25.5 °C }
              - { id: chiller, kind: chiller, nameplate: 350 W, setpoint: 26.5 °C }
              - { id: pump, kind: return-pump, nameplate: 60 W }
            points:
              - { id: temperature, kind: temperature, every: 1s, source: { topic: s/t${i}/temperature, format: json, value: /v, time: /t, timeFormat: ms } }
              - { id: heater-power, kind: power, equipment: heater, every: 1s, source: { topic: s/t${i}/heater, format: json, value: /v, time: /t, timeFormat: ms } }
              - { id: chiller-power, kind: power, equipment: chiller, every: 1s, source: { topic: s/t${i}/chiller, format: json, value: /v, time: /t, timeFormat: ms } }
              - { id: pump-power, kind: power, equipment: pump, every: 1s, source: { topic: s/t${i}/pump, format: json, value: /v, time: /t, timeFormat: ms } }`;
  return benchFleetOf(Array.from({ length: benchTanks }, (_, i) => tank(i)).join(''));
}

/** One site with one account. @param tanks as entries of its list, each on lines of its own. */
export function benchFleetOf(tanks: string): string {
  return `clients:
  - id: c
    name: Client (invented)
    sites:
      - id: s
        name: Site (invented)
        timeZone: UTC
        account: { user: ${benchUser}, passwordEnv: TANKBELL_BENCH }
        tanks:${tanks}
people: [{ id: ana, name: Ana Example (invented), email: ana@example.invalid, timeZone: UTC, day: "07:00-21:00" }]
onCall: { steps: [{ person: ana }] }
`;
}

/** A healthy day: a heater that cycles with the water, a chiller at rest, a pump that runs. */
const channels: readonly (readonly [string, (i: number) => number])[] = [
  ['temperature', (i) => 25.5 + 0.3 * Math.sin(i / 900)],
  ['heater', (i) => (Math.sin(i / 900) < 0 ? 296 : 0)],
  ['chiller', () => 0],
  ['pump', (i) => 58 + (i % 5) / 10],
];

export const benchPoints = benchTanks * channels.length;

export function benchMessage(i: number, firstMs: number): { topic: string; payload: string } {
  const [channel, value] = channels[Math.floor(i / benchTanks) % channels.length] ?? ['temperature', () => 25];
  return { topic: `s/t${i % benchTanks}/${channel}`, payload: JSON.stringify({ t: firstMs + Math.floor(i / 5), v: Number(value(i).toFixed(2)) }) };
}
