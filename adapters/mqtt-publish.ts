/** Publishing, for the simulator and for trying things out: what a stock client at a site does. QoS 1, reconnecting by itself. */
import { connect } from 'mqtt';

export interface Publisher {
  /** Resolves when the broker has acknowledged. Rejects when it is closed before that. */
  publish(topic: string, payload: string | Buffer): Promise<void>;
  close(): Promise<void>;
}

/** Resolves at once; what is published before the connection stands waits for it. */
export function openPublisher(options: { readonly url: string; readonly clientId: string; readonly user: string; readonly password: string }): Publisher {
  const client = connect(options.url, { clientId: options.clientId, username: options.user, password: options.password, reconnectPeriod: 1000 });
  // A broker that is away is what reconnecting is for; without a listener it would end the process.
  client.on('error', () => undefined);
  return {
    publish: async (topic, payload) => {
      await client.publishAsync(topic, payload, { qos: 1 });
    },
    close: () => client.endAsync(true),
  };
}
