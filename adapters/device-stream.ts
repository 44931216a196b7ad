/**
 * A device's connection as the broker's library sees it. Every packet is read here once. Publishes are offered to us first: what we take goes
 * straight to the engine and is acknowledged from here, without the library's way through retained messages and subscribers.
 */
import type { Socket } from 'node:net';
import { Duplex } from 'node:stream';
import mqttPacket, { type IPublishPacket, type Packet, type Parser } from 'mqtt-packet';
import { packetGuard } from './packet-guard.ts';
import { pubacks } from './pubacks.ts';

export interface DeviceStreamOptions {
  readonly socket: Socket;
  readonly maxPacketBytes: number;
  /** A publish, before the library sees it. @returns whether it is taken; if so, and its QoS is 1, `acknowledge` follows. */
  take(packet: IPublishPacket): boolean;
  /** `false`: what has been taken waits for room in the engine's queue, so nothing more is read. */
  hasRoom(): boolean;
  /** What it sends is no MQTT, or too large to be taken; the connection is closed. */
  onRefused(why: string): void;
}

/** Messages of one device under way to the store; beyond, it is not read from until half of them are there. */
const MAX_UNDER_WAY = 2000;

/** PUBACKs of ours that go out together, behind one that the library writes in its own time. */
interface Run {
  /** Packet id of the library's; `null`: there is none before these. */
  readonly after: number | null;
  ids: number[];
}

export class DeviceStream extends Duplex {
  /** Publishes handed to the library that it has not asked us about yet: none may be taken before them. */
  passedOn = 0;
  passedOnMs = Number.NEGATIVE_INFINITY;
  protected readonly socket: Socket;
  readonly #options: DeviceStreamOptions;
  readonly #fromDevice: Parser;
  readonly #fromLibrary: Parser = mqttPacket.parser({ protocolVersion: 4 });
  /** Committed, not acknowledged yet: PUBACKs go out in the order of the publishes [MQTT-4.6.0-2]. */
  readonly #runs: Run[] = [{ after: null, ids: [] }];
  #flushing = false;
  #underWay = 0;
  /** Not read from: we have enough of it, or everything waits. */
  #held = false;

  /** @param version of MQTT: 3, 4 (3.1.1) or 5. */
  constructor(options: DeviceStreamOptions, version: number) {
    super();
    const { socket } = options;
    this.#options = options;
    this.socket = socket;
    this.#fromDevice = mqttPacket.parser({ protocolVersion: version });
    const guard = packetGuard(options.maxPacketBytes);
    this.#fromDevice.on('packet', (packet: Packet) => this.#receive(packet));
    this.#fromDevice.on('error', (error: Error) => this.destroy(error));
    this.#fromLibrary.on('packet', (packet: Packet) => this.#guarded(() => this.#passDown(packet)));
    this.#fromLibrary.on('error', (error: Error) => this.destroy(error));
    socket.on('data', (chunk: Buffer) => {
      const verdict = guard(chunk);
      if (verdict === 'fine') {
        this.#fromDevice.parse(chunk);
      } else {
        options.onRefused(verdict === 'too-large' ? `it announced a packet of more than ${options.maxPacketBytes} bytes` : 'what it sends is no MQTT');
        socket.destroy();
      }
    });
    socket.on('end', () => this.push(null));
    socket.on('error', (error) => this.destroy(error));
    socket.on('close', () => this.destroy());
    socket.resume();
  }

  /** Is in the store. PUBACKs of one commit go out together. */
  acknowledge(messageId: number): void {
    this.#underWay -= 1;
    if (this.#held) this.release();
    this.#runs.at(-1)?.ids.push(messageId);
    if (this.#flushing) return;
    this.#flushing = true;
    process.nextTick(() => {
      this.#flushing = false;
      this.#flush();
    });
  }

  /** Is in the store, and the library is about to acknowledge it: what is acknowledged from here on goes out behind that. */
  leaveToLibrary(messageId: number): void {
    this.#runs.push({ after: messageId, ids: [] });
  }

  #flush(): void {
    const [run] = this.#runs;
    if (run === undefined || run.ids.length === 0) return;
    const { ids } = run;
    run.ids = [];
    if (!this.socket.destroyed) this.socket.write(pubacks(ids));
  }

  #passDown(packet: Packet): void {
    const isNext = (packet.cmd === 'puback' || packet.cmd === 'pubrec') && this.#runs[1]?.after === packet.messageId;
    if (isNext) this.#flush();
    this.down(packet);
    if (!isNext) return;
    this.#runs.shift();
    this.#flush();
  }

  /** Reads on, if there is room again. */
  release(): void {
    if (!this.#held || this.#underWay > MAX_UNDER_WAY / 2 || !this.#options.hasRoom()) return;
    this.#held = false;
    this.socket.resume();
  }

  override _read(): void {
    if (!this.#held) this.socket.resume();
  }

  override _write(chunk: Buffer, _encoding: BufferEncoding, done: (error?: Error | null) => void): void {
    this.#fromLibrary.parse(chunk);
    if (this.socket.writableNeedDrain) this.socket.once('drain', () => done());
    else done();
  }

  override _destroy(error: Error | null, done: (error?: Error | null) => void): void {
    // What has been written to the device, a last CONNACK say, still goes out.
    this.socket.end();
    this.socket.destroySoon();
    done(error);
  }

  /** A packet from the device to the library. */
  protected up(packet: Packet): void {
    this.toBroker(packet);
  }

  protected toBroker(packet: Packet): void {
    if (!this.push(mqttPacket.generate(packet, { protocolVersion: 4 }))) this.socket.pause();
  }

  /** A packet from the library to the device. */
  protected down(packet: Packet): void {
    this.toDevice(mqttPacket.generate(packet, { protocolVersion: 4 }));
  }

  protected toDevice(bytes: Buffer): void {
    this.socket.write(bytes);
  }

  /** A packet that cannot be written in the other version ends the connection, not the service. */
  #guarded(translate: () => void): void {
    if (this.destroyed) return;
    try {
      translate();
    } catch (error) {
      this.destroy(error instanceof Error ? error : new Error(String(error)));
    }
  }

  #receive(packet: Packet): void {
    if (this.destroyed) return;
    if (packet.cmd !== 'publish') {
      this.#guarded(() => this.up(packet));
    } else if (this.#options.take(packet)) {
      if (packet.qos === 1) this.#underWay += 1;
      if (this.#held || (this.#underWay < MAX_UNDER_WAY && this.#options.hasRoom())) return;
      this.#held = true;
      this.socket.pause();
    } else {
      this.passedOn += 1;
      this.#guarded(() => this.up(packet));
    }
  }
}
