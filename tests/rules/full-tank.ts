/** A tank with everything installed that the rules watch: with what hangs beside it: 20 points. */
import { equipment, fleet, point } from './fleet.ts';

const on = (name: string) => ({ equipmentId: `reef/${name}`, place: 'equipment' as const });

export const fullTank = fleet({
  equipment: [
    equipment('heater', 'heater-1', { setpointC: 25.5, bandK: 0.3, nameplateWatts: 100 }),
    equipment('heater', 'heater-2', { setpointC: 25.5, bandK: 0.3, nameplateWatts: 100 }),
    equipment('chiller', 'chiller', { nameplateWatts: 300 }),
    equipment('return-pump', 'return-pump', { nameplateWatts: 85, circuit: 'Strip A, outlet 1' }),
    equipment('skimmer', 'skimmer', { nameplateWatts: 30, circuit: 'Strip A, outlet 2' }),
    equipment('uv', 'uv', { nameplateWatts: 40, circuit: 'Strip B, outlet 1' }),
    equipment('top-off-pump', 'top-off-pump', { nameplateWatts: 10 }),
    equipment('top-off-reservoir', 'reservoir', { capacityLitres: 60 }),
    equipment('light', 'light'),
  ],
  points: [
    point('temperature', 'display-temperature'),
    point('temperature', 'sump-temperature', { place: 'sump' }),
    point('power', 'heater-1-power', on('heater-1')),
    point('energy', 'heater-2-energy', on('heater-2')),
    point('power', 'chiller-power', on('chiller')),
    point('power', 'pump-power', on('return-pump')),
    point('flow', 'pump-flow', on('return-pump')),
    point('fill', 'reservoir-fill', { equipmentId: 'reef/reservoir', place: 'reservoir' }),
    point('current', 'light-current', on('light')),
    point('conductivity', 'conductivity'),
    point('power', 'skimmer-power', on('skimmer')),
    point('power', 'uv-power', on('uv')),
    point('power', 'top-off-power', on('top-off-pump')),
    point('level', 'sump-level', { place: 'sump' }),
    point('switch', 'sump-high-float', { place: 'sump' }),
    point('switch', 'leak-pad', { place: 'floor' }),
    point('voltage', 'supply-voltage', { id: 'harbor-lobby/supply-voltage', tankId: null, place: 'room' }),
  ],
});
