/** Metrics of Sparkplug B gateways (Eclipse Sparkplug 3.0.0): PLCs and edge gateways that are born, send what changed, and die. */
import { z } from 'zod';
import { defineSessionFormat } from '../contract.ts';
import { parseAddress } from '../sparkplug-address.ts';
import { prepareKept } from '../sparkplug-kept.ts';
import { openSparkplug, type SparkplugOptions } from '../sparkplug-session.ts';

export default defineSessionFormat<SparkplugOptions>({
  format: 'sparkplug',
  looksLike: 'Sparkplug B, from a gateway at topic: spBv1.0/group/edge node (with /device behind it for a device), with metric: Temperature.',
  options: z.strictObject({
    metric: z.string().min(1).max(200).describe('Name of the metric in the birth of the gateway or the device: Temperature, Sump/Level.'),
  }),
  addressProblem: (address) => {
    const parsed = parseAddress(address);
    return 'problem' in parsed ? parsed : null;
  },
  open: openSparkplug,
  prepareKept,
});
