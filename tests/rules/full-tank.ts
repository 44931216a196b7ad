/** A tank with everything installed that the rules watch: 10 points of its own. */
import { equipment, fleet, point } from './fleet.ts';

const on = (name: string) => ({ equipmentId: `reef/${name}`, place: 'equipment' as const });

export const fullTank = fleet({
  equipment: [
    equipment('heater', 'heater-1', { setpointC: 25.5, bandK: 0.3, nameplateWatts: 100 }),
    equipment('heater', 'heater-2', { setpointC: 25.5, bandK: 0.3, nameplateWatts: 100 }),
    equipment('chiller', 'chiller', { nameplateWatts: 300 }),
    equipment('return-pump', 'return-pump', { nameplateWatts: 85 }),
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
  ],
});
