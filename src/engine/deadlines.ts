/**
 * When something is due next. A binary heap over (dueMs, kind, id): ties are broken by name, not by insertion, so that a restart
 * fires the same deadlines in the same order. Entries are never removed early; a deadline that was moved or dropped is recognised
 * as stale when it comes up, because its slot no longer names its time.
 */
export type DeadlineKind = 'wake' | 'delay' | 'hold' | 'escalation';

export interface Deadline {
  readonly dueMs: number;
  readonly kind: DeadlineKind;
  /** Rule id; for an escalation the alarm's id. */
  readonly id: string;
}

/** The time at which a deadline is due at present; `null`: it is not set. */
interface Slot {
  dueMs: number | null;
}

interface Entry extends Deadline {
  readonly slot: Slot;
}

export class Deadlines {
  readonly #heap: Entry[] = [];
  readonly #slots: Readonly<Record<DeadlineKind, Map<string, Slot>>> = { wake: new Map(), delay: new Map(), hold: new Map(), escalation: new Map() };

  /** Sets, moves or (`null`) drops the deadline of this kind and id. */
  set(kind: DeadlineKind, id: string, dueMs: number | null): void {
    const slots = this.#slots[kind];
    let slot = slots.get(id);
    if (slot === undefined) {
      if (dueMs === null) return;
      slot = { dueMs: null };
      slots.set(id, slot);
    }
    if (slot.dueMs === dueMs) return;
    slot.dueMs = dueMs;
    if (dueMs === null) {
      // Alarms close for good; rules stay.
      if (kind === 'escalation') slots.delete(id);
    } else this.#push({ dueMs, kind, id, slot });
  }

  /** Takes the earliest deadline that lies before `beforeMs`. */
  take(beforeMs: number): Deadline | null {
    for (;;) {
      const top = this.#heap[0];
      if (top === undefined || top.dueMs >= beforeMs) return null;
      this.#pop();
      if (top.slot.dueMs !== top.dueMs) continue;
      top.slot.dueMs = null;
      return top;
    }
  }

  #push(entry: Entry): void {
    const heap = this.#heap;
    heap.push(entry);
    let at = heap.length - 1;
    while (at > 0) {
      const up = (at - 1) >> 1;
      const parent = heap[up];
      if (parent === undefined || !isBefore(entry, parent)) break;
      heap[at] = parent;
      at = up;
    }
    heap[at] = entry;
  }

  #pop(): void {
    const heap = this.#heap;
    const last = heap.pop();
    if (last === undefined || heap.length === 0) return;
    let at = 0;
    for (;;) {
      let index = 2 * at + 1;
      let child = heap[index];
      if (child === undefined) break;
      const right = heap[index + 1];
      if (right !== undefined && isBefore(right, child)) {
        child = right;
        index += 1;
      }
      if (!isBefore(child, last)) break;
      heap[at] = child;
      at = index;
    }
    heap[at] = last;
  }
}

function isBefore(a: Deadline, b: Deadline): boolean {
  if (a.dueMs !== b.dueMs) return a.dueMs < b.dueMs;
  if (a.kind !== b.kind) return a.kind < b.kind;
  return a.id < b.id;
}
