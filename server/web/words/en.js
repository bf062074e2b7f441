// English: every text of the pages.
export default {
    'ago.days': '{n} {n|day|days} ago',
    'ago.hours': '{n} {n|hour|hours} ago',
    'ago.minutes': '{n} min ago',
    'ago.months': '{n} {n|month|months} ago',
    'ago.years': '{n} {n|year|years} ago',

    'base.down': 'base down',
    'base.in': 'base in',
    'base.out': 'base out',
    'base.up': 'base up',

    'fault.no-page': 'This page could not be loaded. Check the network, then'
        + ' open it again.',
    'fault.offline': 'The service does not answer. Check the network.',

    'lens.balance': 'balance',
    'lens.none': 'no lens',
    'lens.occluder': 'occluder',
    'lens.prosthesis': 'prosthesis',

    'lock.open': 'Open again',
    'lock.text': 'Nobody used the page for a while, or it was locked. What was'
        + ' typed is kept.',
    'lock.title': 'Locked',

    'person.age': '{n} {n|year|years}',
    'person.age-about': 'about {n} {n|year|years}',
    'person.age-months': '{n} {n|month|months}',
    'person.born-unknown': 'birth date unknown',

    'power.absent': 'not given',
    'power.add': 'add {text}',
    'power.plano': 'plano',
    'power.prism': '{amount} Δ {base}',

    'prefs.hand': 'Hand that holds the tablet',
    'prefs.hand.left': 'left',
    'prefs.hand.right': 'right',
    'prefs.idle': 'Lock when unused for',
    'prefs.idle.10': '10 minutes',
    'prefs.idle.2': '2 minutes',
    'prefs.idle.20': '20 minutes',
    'prefs.idle.5': '5 minutes',
    'prefs.language': 'Language',
    'prefs.mark': 'Decimal mark',
    'prefs.mark.,': 'comma: 0,25',
    'prefs.mark..': 'point: 0.25',
    'prefs.theme': 'Light',
    'prefs.theme.day': 'day: like paper',
    'prefs.theme.lane': 'lane: for a dim room',
    'prefs.title': 'Preferences',

    'role.admin': 'administrator',
    'role.auditor': 'auditor',
    'role.desk': 'desk',
    'role.device': 'device',
    'role.lab': 'lab',
    'role.prescriber': 'prescriber',

    'shell.aid': 'What is computed here aids and does not replace the judgement'
        + ' of a licensed practitioner. Local rules on prescriptions, records'
        + ' and dispensing come first.',
    'shell.api': 'What the service offers to programs',
    'shell.lock': 'Lock',
    'shell.no-page': 'There is no page for the role {role}; its work is done'
        + ' through the service’s interface for programs.',
    'shell.sign-out': 'Sign out',
    'shell.skip': 'To the page',
    'shell.starting': 'Waiting for the service …',
    'shell.to-day': 'Day light',
    'shell.to-lane': 'Lane light',

    'sign-in.go': 'Sign in',
    'sign-in.network': 'Network',
    'sign-in.password': 'Password',
    'sign-in.refused': 'Network, user and password do not fit together.',
    'sign-in.title': 'Sign in',
    'sign-in.user': 'User',

    'spoken.add': 'add {text}',
    'spoken.cylinder': 'cylinder {text} axis {axis}',
    'spoken.minus': 'minus {text}',
    'spoken.plus': 'plus {text}',
    'spoken.prism': 'prism {amount} {base}',
    'spoken.sphere': 'sphere {text}',
    'spoken.zero': '{text}',

    'word.done': 'Done',
};
