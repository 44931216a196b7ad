/** @jsxRuntime automatic @jsxImportSource preact */
import type { Tank } from '../../domain/fleet.ts';
import { words } from '../words.ts';

export function TankSelect({ tanks, chosen, none }: { tanks: readonly Tank[]; chosen: string | null; none: string }) {
  return (
    <label>{words.alarms.tank}
      <select name="tank">
        <option value="">{none}</option>
        {tanks.map((tank) => <option key={tank.id} value={tank.id} selected={tank.id === chosen}>{tank.name}</option>)}
      </select>
    </label>
  );
}
