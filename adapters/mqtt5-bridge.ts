/**
 * Lets a device that speaks MQTT 5 talk to the embedded broker, whose library speaks 3.1.1: a stream that translates packet by packet.
 * What 3.1.1 cannot say is declared unavailable in the CONNACK (sessions, topic aliases, shared subscriptions, subscription identifiers),
 * so that a device never relies on it. Section numbers are those of OASIS MQTT 5.0.
 */
import { randomUUID } from 'node:crypto';
import mqttPacket, { type Packet } from 'mqtt-packet';
import { DeviceStream, type DeviceStreamOptions } from './device-stream.ts';

/** Reason codes (§2.4). */
const Reason = { protocolError: 0x82, notAuthorized: 0x87, badAuthenticationMethod: 0x8c, topicAliasInvalid: 0x94, disconnectWithWill: 0x04 } as const;

/** CONNACK return codes of 3.1.1 (§3.2.2.3 there) as reason codes of 5 (§3.2.2.2). */
const connackReasons: Readonly<Record<number, number>> = { 0: 0, 1: 0x84, 2: 0x85, 3: 0x88, 4: 0x86, 5: 0x87 };

/** Unacknowledged QoS 2 publishes the broker keeps per device. */
const RECEIVE_MAXIMUM = 500;

export class Mqtt5Bridge extends DeviceStream {
  readonly #maxPacketBytes: number;
  /** What the device says it can take; `null`: anything. */
  #deviceMaxBytes: number | null = null;
  #assignedId: string | null = null;
  /** How many filters each UNSUBSCRIBE under way named: the UNSUBACK of 5 answers each one. */
  readonly #unsubscribing = new Map<number, number>();

  constructor(options: DeviceStreamOptions) {
    super({ ...options, take: (packet) => packet.properties?.topicAlias === undefined && options.take(packet) }, 5);
    this.#maxPacketBytes = options.maxPacketBytes;
  }

  /** From the device to the broker. */
  protected override up(packet: Packet): void {
    switch (packet.cmd) {
      case 'connect':
        if (packet.properties?.authenticationMethod !== undefined) return this.#refuse({ cmd: 'connack', sessionPresent: false, reasonCode: Reason.badAuthenticationMethod });
        this.#deviceMaxBytes = packet.properties?.maximumPacketSize ?? null;
        if (packet.clientId === '') this.#assignedId = `device-${randomUUID()}`;
        return this.toBroker({
          cmd: 'connect', protocolId: 'MQTT', protocolVersion: 4, clean: true, clientId: this.#assignedId ?? packet.clientId,
          ...(packet.keepalive === undefined ? {} : { keepalive: packet.keepalive }),
          ...(packet.username === undefined ? {} : { username: packet.username }),
          ...(packet.password === undefined ? {} : { password: packet.password }),
          ...(packet.will === undefined ? {} : { will: { topic: packet.will.topic, payload: packet.will.payload, qos: packet.will.qos ?? 0, retain: packet.will.retain ?? false } }),
        });
      case 'publish': {
        if (packet.properties?.topicAlias !== undefined) return this.#refuse({ cmd: 'disconnect', reasonCode: Reason.topicAliasInvalid });
        const { properties: _dropped, ...plain } = packet;
        return this.toBroker(plain);
      }
      case 'subscribe':
        // QoS 0: the device's Receive Maximum (§3.3.4) limits only the others, and the broker's library does not know it.
        return this.toBroker({ cmd: 'subscribe', ...messageId(packet), subscriptions: packet.subscriptions.map(({ topic }) => ({ topic, qos: 0 })) });
      case 'unsubscribe':
        if (packet.messageId !== undefined) this.#unsubscribing.set(packet.messageId, packet.unsubscriptions.length);
        return this.toBroker({ cmd: 'unsubscribe', ...messageId(packet), unsubscriptions: packet.unsubscriptions });
      case 'puback':
      case 'pubrec':
      case 'pubrel':
      case 'pubcomp':
        return this.toBroker({ cmd: packet.cmd, ...messageId(packet) });
      case 'pingreq':
        return this.toBroker({ cmd: 'pingreq' });
      case 'disconnect':
        // §3.14.2.1: 0x04 asks for the will, which 3.1.1 publishes when no DISCONNECT comes.
        if (packet.reasonCode === Reason.disconnectWithWill) this.push(null);
        else this.toBroker({ cmd: 'disconnect' });
        return;
      default:
        return this.#refuse({ cmd: 'disconnect', reasonCode: Reason.protocolError });
    }
  }

  /** From the broker to the device. */
  protected override down(packet: Packet): void {
    switch (packet.cmd) {
      case 'connack': {
        const reasonCode = connackReasons[packet.returnCode ?? 0] ?? Reason.notAuthorized;
        const properties = {
          sessionExpiryInterval: 0, receiveMaximum: RECEIVE_MAXIMUM, maximumPacketSize: this.#maxPacketBytes,
          subscriptionIdentifiersAvailable: false, sharedSubscriptionAvailable: false,
          ...(this.#assignedId === null ? {} : { assignedClientIdentifier: this.#assignedId }),
        };
        return this.#send({ cmd: 'connack', sessionPresent: packet.sessionPresent, reasonCode, ...(reasonCode === 0 ? { properties } : {}) });
      }
      case 'suback':
        return this.#send({ ...packet, granted: packet.granted.map((grant) => (grant === 128 ? Reason.notAuthorized : Number(grant))) });
      case 'unsuback': {
        const count = this.#unsubscribing.get(packet.messageId ?? 0) ?? 1;
        this.#unsubscribing.delete(packet.messageId ?? 0);
        return this.#send({ cmd: 'unsuback', ...messageId(packet), granted: Array.from({ length: count }, () => 0) });
      }
      default:
        return this.#send(packet);
    }
  }

  #send(packet: Packet): void {
    const bytes = mqttPacket.generate(packet, { protocolVersion: 5 });
    // §3.1.2.11.4: a packet the device cannot take is not sent, as if it had been.
    if (this.#deviceMaxBytes === null || bytes.length <= this.#deviceMaxBytes) this.toDevice(bytes);
  }

  #refuse(packet: Packet): void {
    this.#send(packet);
    this.destroy();
  }
}

function messageId(packet: { readonly messageId?: number | undefined }): { messageId?: number } {
  return packet.messageId === undefined ? {} : { messageId: packet.messageId };
}
