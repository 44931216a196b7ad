/** Names on Sparkplug's paths (Eclipse Sparkplug 3.0.0, chapter 4): `spBv1.0/group/TYPE/edge node[/device]` on the wire, without TYPE in the fleet file. */

export const NAMESPACE = 'spBv1.0';

export const messageTypes = ['NBIRTH', 'NDEATH', 'NDATA', 'NCMD', 'DBIRTH', 'DDEATH', 'DDATA', 'DCMD'] as const;
export type MessageType = (typeof messageTypes)[number];

export interface SparkplugTopic {
  readonly group: string;
  readonly type: MessageType;
  readonly edgeNode: string;
  /** `null` for a message of the edge node itself. */
  readonly device: string | null;
}

/** `null`: no topic of Sparkplug, or the state of a host. */
export function parseTopic(topic: string): SparkplugTopic | null {
  const [namespace, group, typeName, edgeNode, device, ...more] = topic.split('/');
  const type = messageTypes.find((known) => known === typeName);
  if (namespace !== NAMESPACE || group === undefined || type === undefined || edgeNode === undefined || edgeNode === '' || more.length > 0) return null;
  // D… messages name a device, N… messages none (chapter 4).
  if ((type[0] === 'D') !== (device !== undefined) || device === '') return null;
  return { group, type, edgeNode, device: device ?? null };
}

export interface SparkplugAddress {
  readonly group: string;
  readonly edgeNode: string;
  readonly device: string | null;
}

export function parseAddress(address: string): SparkplugAddress | { readonly problem: string; readonly fix: string } {
  const fix = `write "${NAMESPACE}/group/edge node", with "/device" behind it for a device`;
  const parts = address.split('/');
  const [namespace, group, edgeNode, device] = parts;
  if (namespace !== NAMESPACE) return { problem: `"${address}" is no Sparkplug address`, fix };
  const type = messageTypes.find((known) => known === edgeNode);
  if (type !== undefined) return { problem: `"${address}" is the topic of one kind of message`, fix: `leave out "/${type}": "${[namespace, group, ...parts.slice(3)].join('/')}"` };
  if (group === 'STATE') return { problem: `"${address}" is where hosts tell their state`, fix };
  if (group === undefined || edgeNode === undefined || parts.length > 4 || parts.some((part) => part === '')) return { problem: `"${address}" is no Sparkplug address`, fix };
  return { group, edgeNode, device: device ?? null };
}

export const addressOf = ({ group, edgeNode, device }: SparkplugAddress): string => [NAMESPACE, group, edgeNode, ...(device === null ? [] : [device])].join('/');
export const stateTopic = (hostId: string): string => `${NAMESPACE}/STATE/${hostId.replaceAll(/[+#/]/g, '-')}`;
export const commandTopic = ({ group, edgeNode }: Pick<SparkplugAddress, 'group' | 'edgeNode'>): string => `${NAMESPACE}/${group}/NCMD/${edgeNode}`;
