/** Every visible string of the pages, in one place. */
import type { AlarmState, HoldKind, Priority } from '../domain/alarm.ts';
import type { Water } from '../domain/fleet.ts';
import type { JournalKind } from '../domain/journal.ts';
import type { PageReason, PageState } from '../domain/page.ts';
import type { Standing } from './board.ts';

const many = (n: number, one: string, more: string): string => `${n} ${n === 1 ? one : more}`;

export const words = {
  product: 'Tankbell',
  skip: 'Skip to the content',
  notice: 'Notice',
  nav: { label: 'Pages', board: 'Board', alarms: 'Alarms', journal: 'Journal', sources: 'Sources', import: 'Import', logout: 'Log out' },
  asOf: (time: string): string => `As of ${time}.`,
  reload: 'Reload to renew.',
  trouble: 'Trouble of the service itself',
  commitTrouble: (since: string, error: string): string => `Nothing has been stored since ${since}: ${error}. What is shown may be out of date.`,
  unknown: 'unknown',
  none: 'none',

  priority: { urgent: 'urgent', high: 'high', low: 'low', journal: 'record only' } satisfies Record<Priority, string>,
  state: {
    normal: 'over', unacknowledged: 'not acknowledged', acknowledged: 'acknowledged', returned: 'back to normal, not acknowledged',
    shelved: 'shelved', suppressed: 'suppressed by cause', 'out-of-service': 'out of service',
  } satisfies Record<AlarmState, string>,
  hold: { shelved: 'shelved', suppressed: 'suppressed by cause', 'out-of-service': 'out of service' } satisfies Record<HoldKind, string>,
  water: { reef: 'reef', marine: 'marine', fresh: 'fresh water', cold: 'cold water' } satisfies Record<Water, string>,

  login: {
    title: 'Log in', name: 'Name', password: 'Password', button: 'Log in',
    wrong: 'Name or password is not right.',
    wait: (wait: string): string => `Too many tries. Try again in ${wait}.`,
    incomplete: 'Fill in both name and password.',
    noAccounts: 'There is no account yet. Make one on the machine itself with: tankbell user add NAME',
  },

  board: {
    title: 'Board',
    standing: {
      'needs-help': 'needs help', returned: 'over, not acknowledged', acknowledged: 'being looked after', unknown: 'not everything known', held: 'held back', quiet: 'quiet',
    } satisfies Record<Standing, string>,
    counts: (n: number, standing: Standing): string => `${n} ${standing === 'needs-help' && n !== 1 ? 'need help' : words.board.standing[standing]}`,
    allQuiet: (n: number): string => (n === 1 ? 'The one tank is quiet.' : `All ${n} tanks are quiet.`),
    noTanks: 'No tank is set up yet. Write the fleet file and start again.',
    since: (time: string, lasting: string): string => `for ${lasting}, since ${time}`,
    moreAlarms: (n: number): string => `+ ${many(n, 'more alarm', 'more alarms')}`,
    silent: (names: string, n: number): string => (n <= 2 ? `no current value from ${names}` : `no current value from ${n} points`),
    unknownRules: (n: number): string => `${many(n, 'rule', 'rules')} cannot judge`,
    heldRules: (n: number): string => `${many(n, 'rule', 'rules')} held back`,
    contact: (age: string): string => `heard ${age}`,
    noContact: 'never heard from',
    list: 'Tanks, who needs help first',
  },

  value: {
    stale: (value: string, age: string): string => `unknown, last ${value} ${age}`,
    never: 'unknown, nothing received yet',
    limits: (low: string | null, high: string | null): string =>
      low !== null && high !== null ? `${low} – ${high}` : low !== null ? `at least ${low}` : high !== null ? `at most ${high}` : 'none',
    limitsAre: (limits: string): string => `limits ${limits}`,
    low: 'below its limit', high: 'above its limit',
  },

  tank: {
    volume: (litres: string): string => `${litres} L`,
    present: 'Now',
    charts: 'Charts',
    ranges: { '1h': '1 hour', '6h': '6 hours', '1d': '1 day', '7d': '7 days', '30d': '30 days' },
    rangeLabel: 'Time span', earlier: '← Earlier', later: 'Later →', untilNow: 'Until now',
    chartOf: (name: string): string => `Chart of ${name}`,
    chartSpan: (from: string, to: string): string => `${from} to ${to}`,
    nothingStored: 'Nothing stored in this span.',
    lowHigh: (low: string, high: string): string => `lowest ${low}, highest ${high}`,
    openAlarms: 'Open alarms',
    noOpenAlarms: 'No open alarms.',
    pastAlarms: 'Past alarms',
    noPastAlarms: 'No past alarms.',
    equipment: 'Equipment',
    noEquipment: 'No equipment is written down for this tank.',
    rules: 'Rules',
    noRules: 'No rule watches this tank.',
    address: 'Address', access: 'Access', breaker: 'Power off at', waterShutOff: 'Water off at', contacts: 'Contacts', notWritten: 'not written down',
    column: { point: 'Point', value: 'Value', age: 'Age', limits: 'Limits' },
    setpoint: (text: string): string => `set to ${text}`,
    watts: (watts: string): string => `${watts} W on the nameplate`,
    capacity: (litres: string): string => `${litres} L when full`,
    circuit: (name: string): string => `on ${name}`,
    journal: 'Journal of this tank',
  },

  rule: {
    clear: 'clear', breached: 'breached', unknown: 'unknown', never: 'not judged yet',
    because: (why: string): string => `because ${why}`,
    missing: (what: string): string => `cannot judge: ${what}`,
    unshelve: 'Unshelve', returnToService: 'Return to service', takeOut: 'Take out of service',
    holdOne: 'Hold a rule back …',
    held: (how: string, by: string, since: string, until: string | null, why: string): string => `${how} by ${by} since ${since}${until === null ? '' : `, until ${until}`}: ${why}`,
    noRule: 'There is no such rule on this tank.',
  },

  alarms: {
    title: 'Alarms', open: 'Open', past: 'Past', noneOpen: 'No alarm is open.', nonePast: 'No past alarms.', tank: 'Tank', allTanks: 'All tanks', filter: 'Show',
    began: (time: string, lasting: string): string => `began ${time}, lasting ${lasting}`,
    past1: (from: string, lasting: string): string => `${from}, lasted ${lasting}`,
    by: (name: string): string => `acknowledged by ${name}`,
    nobody: 'never acknowledged',
    older: 'Older alarms',
    acknowledgeReturned: (count: number): string => (count === 1 ? 'Acknowledge the one that is over' : `Acknowledge the ${count} that are over`),
  },

  alarm: {
    title: (id: number): string => `Alarm ${id}`,
    evidence: 'Numbers behind it',
    atOpening: (summary: string): string => `When it opened: ${summary}`,
    chart: 'Around that time',
    firstChecks: 'Check first',
    aid: 'An aid, not a life-safety system. Local electrical code and a licensed electrician come before anything written here.',
    noChecks: 'This rule is not part of the set-up any more, so there are no first checks to show.',
    began: 'Began', opened: 'Opened', acknowledged: 'Acknowledged', returned: 'Back to normal', closed: 'Closed', rule: 'Rule',
    acknowledgedBy: (name: string, time: string): string => `by ${name}, ${time}`,
    notYet: 'not yet',
    pages: 'Messages sent',
    noPages: 'No message was sent.',
    nextPage: (name: string, when: string): string => `If nobody acknowledges, the next message goes to ${name}: ${when}.`,
    history: 'History',
    noHistory: 'The journal has nothing about it.',
    actions: 'What to do with it',
    acknowledge: 'Acknowledge',
    acknowledgeHelp: 'Says that you are looking after it. Nobody else is called.',
    shelve: 'Shelve', shelveHelp: 'Quiet for a while; comes back by itself.',
    why: 'Reason', forHowLong: 'For', spans: { '1h': '1 hour', '8h': '8 hours', '24h': '24 hours', custom: 'other' }, customHours: 'Hours, if other',
    takeOut: 'Take out of service', takeOutHelp: 'Does not judge until somebody puts it back.',
    unshelve: 'Unshelve', returnToService: 'Return to service',
    done: { acknowledge: 'Acknowledged.', shelve: 'Shelved.', unshelve: 'Unshelved.', 'out-of-service': 'Taken out of service.', 'return-to-service': 'Returned to service.' },
    refused: (why: string): string => `Not done: ${why}`,
    needReason: 'write the reason, so that the next person knows',
    needHours: 'write for how many hours, from 0.25 to 720',
    pageState: { queued: 'waiting to be sent', claimed: 'being sent', 'handed-over': 'handed to the mail server', refused: 'refused' } satisfies Record<PageState, string>,
    pageReason: { opened: 'opened', escalated: 'nobody acknowledged', repeated: 'again', morning: 'waited for the morning', returned: 'back to normal', test: 'test' } satisfies Record<PageReason, string>,
    pageTry: (n: number): string => many(n, 'try', 'tries'),
    lastError: (error: string): string => `last error: ${error}`,
    tankLink: 'To the tank',
  },

  acknowledge: {
    title: 'Acknowledge an alarm',
    button: (name: string): string => `I am looking after it (${name})`,
    explain: 'Nothing happens until you press the button.',
    already: (name: string, time: string): string => `Acknowledged by ${name}, ${time}.`,
    done: (name: string): string => `Thank you, ${name}. Nobody else is called for this alarm.`,
    over: 'This alarm is over.',
    expired: 'This link has expired. Log in to see the alarm, or use the link of a newer message.',
    invalid: 'This link is not valid. It may have been cut in two by a mail program: copy the whole address, or log in.',
    personGone: 'The person this link was made for is not part of the set-up any more. Log in to acknowledge.',
    alarmGone: 'The alarm of this link is not in the store.',
    refused: (why: string): string => `It could not be acknowledged: ${why}`,
    login: 'Log in for charts and everything else',
  },

  journal: {
    title: 'Journal', filter: 'Show', tank: 'Tank', allTanks: 'All tanks', kinds: 'Kinds', contains: 'With the words', before: 'Before', zone: (zone: string): string => `Times in ${zone}`,
    none: 'Nothing matches.', older: 'Older entries', newest: 'Newest entries', badBefore: 'Write the date as 2026-11-25 or 2026-11-25T14:00.',
    kind: {
      alarm: 'alarm', acknowledgement: 'acknowledgement', hold: 'hold', page: 'page', delivery: 'delivery', fleet: 'set-up', import: 'import', service: 'service', gap: 'gap', user: 'login', note: 'note',
    } satisfies Record<JournalKind, string>,
    alarmLink: (id: number): string => `alarm ${id}`,
  },

  sources: {
    title: 'Sources', connections: 'Connections', noConnections: 'Nothing is connected.',
    refused: 'Input that was refused', refusedHelp: 'Nothing is dropped in silence: what could not be taken in is counted here, folded by source and reason.',
    noRefused: 'Nothing was refused.',
    column: { source: 'Source', reason: 'Why, and what to send instead', count: 'Count', last: 'Last', excerpt: 'Begins with' },
    state: { ok: 'working', idle: 'idle', trouble: 'trouble' },
    since: (time: string): string => `since ${time}`,
    silent: 'Points without a current value', noSilent: 'Every point has a current value.',
  },

  import: {
    title: 'Import history',
    help: 'A CSV file: long (time, series, value) or wide (time and one column per series). First it is read and reported; nothing is stored before you say so. What is older than its point calls current is history and rings nobody; recent readings are judged like live ones.',
    file: 'CSV file', tank: 'Tank', noTank: 'names in the file are full point ids', timeZone: 'Time zone of times without one', dateOrder: 'Dates like 03/04/2026',
    timeZoneOfSite: 'that of the tank’s site', noDateOrder: '2026-11-25 (others are refused)', noTimeFormat: 'are no times (they are refused)', timeFormat: 'Bare numbers in the time column',
    timeFormats: { s: 'are seconds since 1970', ms: 'are milliseconds since 1970' },
    dateOrders: { ymd: 'year-month-day', dmy: 'day/month/year', mdy: 'month/day/year' }, decimalComma: 'Decimal comma (25,4)', check: 'Read and report', run: 'Import now', again: 'Another file',
    noFile: 'Choose a file first.', noBody: 'Send the bytes of the CSV file as the body.', commandLine: 'command line', badZone: (zone: string): string => `"${zone}" is no time zone. Write it like America/Denver.`, unknownTank: 'There is no such tank.',
    tooLarge: (limit: string): string => `The file is larger than ${limit}. Split it and import the parts.`,
    gone: 'The file read before is not here any more (it is kept for 15 minutes). Upload it again.',
    busy: 'Too many files are waiting to be imported. Try again in a few minutes.',
    report: (name: string): string => `What ${name} holds`, result: (name: string): string => `${name} is imported`,
    rows: 'Lines read', accepted: 'Readings that can be stored', stored: 'Readings stored', known: 'Known already', refused: 'Refused', span: 'From – to', perPoint: 'Readings per point',
    column: { line: 'Line', reason: 'What is wrong' }, first: (shown: number, total: number): string => `The first ${shown} of ${total}.`,
    nothing: 'There is nothing to import in it.',
  },

  live: {
    on: 'Live', off: (since: string): string => `Not live since ${since}`, connecting: 'Not live yet',
  },

  error: {
    title: (status: number): string => (status === 404 ? 'Nothing here' : status === 403 ? 'Not allowed' : status === 429 ? 'Too many tries' : status < 500 ? 'That did not work' : 'Something broke'),
    notFound: 'There is no page or thing at this address.',
    noTank: 'There is no such tank.', noAlarm: 'There is no such alarm.', noPoint: 'There is no such point.',
    foreign: (why: string): string => `The request was refused because ${why}. Open the page itself and try again.`,
    broke: 'The fault is written to the log of the service. Trying again may help.',
    login: 'Log in first: send the session cookie that POST /login hands out.',
  },
} as const;
