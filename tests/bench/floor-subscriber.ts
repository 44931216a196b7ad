/** The floor: subscribes, parses, counts; the client acknowledges each message on receipt, as it does by default. */
import { connect } from 'mqtt';

const [port = '', clientId = '', wanted = '', live = ''] = process.argv.slice(2);
const client = connect(`mqtt://127.0.0.1:${port}`, { clientId, clean: false });
// Live: publishers begin when it listens. Otherwise its session holds everything already.
if (live === 'live') client.subscribe('s/#', { qos: 1 }, () => console.log('ready'));
let count = 0;
let sum = 0;
let startedMs = 0;
client.on('message', (_topic, payload) => {
  if (count === 0) startedMs = performance.now();
  const message: { t: number; v: number } = JSON.parse(payload.toString());
  sum += message.v;
  count += 1;
  if (count === Number(wanted)) {
    const seconds = (performance.now() - startedMs) / 1000;
    client.end(false, {}, () => console.log(`rate ${(count / seconds).toFixed(1)} sum ${sum.toFixed(1)}`));
  }
});
