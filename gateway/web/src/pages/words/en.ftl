# Every visible sentence in British English.

## Around every page

skip = Skip to the content
nav = Pages
nav-worklist = Worklist
nav-scan = Scan
nav-stencils = Stencils
nav-machines = Machines
nav-alarms = Alarms
nav-unattributed = Unattributed
nav-wear = Wear
interlock-note = The interlocks of this gateway protect quality. They are no safety functions: what protects people must not depend on them.
zone-note = Times are in the zone { $zone }.
about = About
stale = Not live at the moment: what you see may be old. Load the page again.
to-worklist = Go to the worklist
missing = Not known
missing-stencil = No stencil { $name } is known: check the code.
missing-machine = No machine { $name } is known: check the name.
missing-event = There is no event { $name }: name it by its number in the ledger.
stopping = The gateway is stopping
stopping-detail = It answers no more. Where scripts run, the page comes back by itself.
try-again = Try again
unread = The ledger cannot be read
unread-detail = { $cause }. See to its disk, then load the page again.
about-what = Stencilward stands between the machines of an assembly floor and the people who look after its solder-paste stencils. It knows where each stencil is, whether it is clean, how worn it is, and whether it may be used.
about-shapes = Circles tell how clean a stencil is, columns how worn, squares whether it may be used at all, pins where it is. The heavier the ink, the sooner somebody must act. Colour adds nothing that words and shapes do not say.
about-version = Version { $version }.
unit-day = d
unit-hour = h
unit-minute = min
yes = yes
no = no

## Condition

dimension-place = Where
dimension-cleanliness = Cleanliness
dimension-wear = Wear
dimension-standing = Standing
cleanliness-clean = clean
cleanliness-printed = printed
cleanliness-washing = in the wash
cleanliness-unknown = unknown
standing-released = released
standing-on-hold = on hold
standing-concession = concession
standing-retired = retired
band-in-service = in service
band-reorder = reorder
band-stopped = stopped
place-slot = slot { $slot } of { $machine }
place-printer = in printer { $machine }
place-washer = in washer { $machine }
place-in-hand = in somebody’s hands
place-unknown = unknown
chart-nothing = There is nothing to draw yet.

## Worklist

worklist-title = Worklist of the shift
scan-something = Scan something
worklist-now = Now
worklist-now-nothing = Nothing presses.
worklist-soon = This shift
worklist-soon-nothing = Nothing more this shift.
worklist-later = Waits for a decision
worklist-later-nothing = Nothing waits.
worklist-refused = Refused in the last eight hours
worklist-refused-nothing = Nothing was refused.
do-wash = Wash { $stencil }
do-find = Find { $stencil }
do-decide-hold = Decide on { $stencil }, on hold
do-link = Bring back the link to { $machine }
do-fault = See to a fault of { $machine }
do-printer = { $machine } may not print with { $stencil }
do-assign = Say whose { $strokes } strokes are
do-alarms = Acknowledge alarms: { $count }
made-at = Made at { $machine }; nobody knows by which stencil.
by-when = By
overdue-since = Overdue since
since = since
lost-since = Not seen where it should be since
why-dried = Paste may have dried in its apertures: { $strokes } strokes since its last wash.
why-printed = Strokes since its last wash: { $strokes }.
why-unclear = Nobody knows whether it is clean.

## Decisions

may-store-permitted = May be stored
may-store-refused = May not be stored
may-take-permitted = May be taken
may-take-refused = May not be taken
may-print-permitted = May be printed with
may-print-refused = May not be printed with

## Reasons: what is wrong and what to do

reason-unknown-stencil = No stencil { $stencil } is in the list: check the scan, or enter the stencil first.
reason-nothing-seated = Nobody identified the stencil in the printer: scan it.
reason-seat-unconfirmed = { $stencil } was in the printer before the link broke, and nobody confirmed it since: scan the stencil that is in there now.
reason-unwashed = Printed with since its last wash (strokes: { $strokes }): wash it first.
reason-unwashed-unsure = It may have printed since its last wash: wash it first.
reason-cleanliness-unknown = Nobody knows whether it is clean: wash it.
reason-washing = Its wash has not ended: wait for the washer.
reason-wash-too-old = Washed { $age-seconds } ago, { $allowed-seconds } is allowed: wash it again.
reason-on-hold = On hold ({ $why }; by { $by }): have the hold released.
reason-worn-out = At the end of its life ({ $strokes } of { $rated-strokes } strokes, { $washes } washes): use its successor, or ask the manager for a concession.
reason-concession-used-up = The concession’s { $strokes } strokes are used up: use its successor.
reason-retired = Retired: use its successor.
reason-tension-overdue = Its tension was not measured within { $allowed-seconds }: measure it.
reason-tension-too-low = Tension { $measured-centi } N/cm, at least { $lowest-centi } N/cm is needed: have it re-tensioned or replaced.
reason-wrong-product = The order prints { $asked }, this stencil is for { $stencil-for }: take the right one.
reason-wrong-side = The order prints the { $asked } side, this stencil is for the { $stencil-for } side: take the right one.
reason-wrong-revision = The order prints revision { $asked }, this stencil is for { $stencil-for }: take the right one.
reason-not-for-order = Order { $order } names other stencils: take one of those.
reason-unknown-order = No order { $order } is known: check the number, or have it released.
reason-unknown-order-none = Stencils are taken for an order only: name the order.
reason-elsewhere = Thought to be elsewhere ({ $place }): look there, or scan it out of there first.
reason-slot-taken = Slot { $slot } holds { $holds }: choose another slot.
reason-slot-promised = Slot { $slot } waits for { $to }, which may be put there now: choose another slot.
reason-promised = { $to } asked first and may take it until { $until }: ask them, or take another stencil.
reason-not-taken = It came to the printer without a permitted take: bring it back and ask for it.
reason-too-many-strokes-since-wash = { $strokes } strokes since its last wash, { $allowed } are allowed: wash it.
reason-too-long-since-wash = { $seconds } since its last wash, { $allowed-seconds } is allowed: wash it.
reason-not-a-rack = { $machine } is not a storage rack in the configuration: name one that is, or none.
reason-on-trial = { $machine } is on trial and changes nothing: take trial out of its configuration and reload.

## Events

event-stencil-registered = Entered for { $product }, { $starting-strokes } of { $rated-strokes } strokes made, clean: { $clean } ({ $source })
event-stencil-revised = Changed: for { $product }, rated for { $rated-strokes } strokes ({ $source })
event-strokes-booked = Strokes at { $machine }: { $count } (from: { $basis })
event-strokes-checked = Strokes at { $machine } to compare: { $count } (from: { $basis })
event-bases-disagreed = { $machine }: { $booked } strokes booked, { $checked } by { $checked-by }; most likely: { $likely }
event-strokes-assigned = { $count } strokes of { $of } at { $machine } assigned by { $by }: { $why }
event-strokes-written-off = { $count } strokes of { $of } at { $machine } written off by { $by }: { $why }
event-strokes-corrected = { $corrects } corrected from { $was } to { $is } strokes by { $by }: { $why }
event-wash-annulled = { $corrects } was no wash, says { $by }: { $why }
event-wipes-counted = Understencil wipes at { $machine }: { $count }
event-wear-band-entered = Wear is now: { $band }, at { $strokes } strokes
event-seated = Put into printer { $machine }{ $said ->
    [yes] {" "}(said by { $by })
   *[no] {""}
 }
event-loaded = Put into washer { $machine }{ $said ->
    [yes] {" "}(said by { $by })
   *[no] {""}
 }
event-removed = Taken out of { $machine }{ $said ->
    [yes] {" "}(said by { $by })
   *[no] {""}
 }
event-lost-sight = No longer where it was thought to be: { $why }
event-wash-began = Wash began at { $machine }, programme { $programme }
event-wash-ended = Wash { $outcome } at { $machine }, programme { $programme }{ $said ->
    [yes] {" "}(reported by { $by })
   *[no] {""}
 }
event-wash-unmatched = { $machine } told of a wash that fits no stencil: { $why }
event-stored = Stored in slot { $slot } of { $rack }
event-slot-found = Found in slot { $slot } of { $rack }
event-storage-breached = Stored without permission in slot { $slot } of { $rack }: { $reasons }
event-taken = Taken out of slot { $slot } of { $rack }, permitted: { $permitted }
event-slot-cleared = Slot { $slot } of { $rack } is empty again
event-decided-permitted = Permitted to { $rule }{ $said ->
    [yes] {" "}(asked by { $by })
   *[no] {""}
 }
event-decided-refused = Refused to { $rule }{ $said ->
    [yes] {" "}(asked by { $by })
   *[no] {""}
 }: { $reasons }
event-hold-placed = Put on hold by { $by }: { $why }
event-hold-released = Hold released by { $by }: { $why }
event-concession-granted = { $ends ->
    [yes] Concession for { $strokes } strokes until { $valid-until } by { $by }: { $why }
   *[no] Concession for { $strokes } strokes by { $by }: { $why }
}
event-concession-withdrawn = Concession withdrawn by { $by }: { $why }
event-retired = Retired by { $by }: { $why }
event-measured = Measured: { $quantity } { $value } { $unit }
event-dried-out = Not washed in time after printing ({ $printed })
event-machine-up = Link to { $machine } is up
event-machine-down = Link to { $machine } is lost: { $why }
event-machine-state-changed = { $machine } is { $state } (its word: { $word })
event-fault-raised = { $machine } has fault { $code }: { $text }
event-fault-ended = Fault { $code } of { $machine } is gone
event-counter-noted = Counter { $counter } of { $machine } at { $raw }, nothing booked: { $why }
event-counter-doubted = Counter { $counter } of { $machine } jumped from { $last } to { $raw }, { $possible } were possible: nothing booked
event-restart-unseen = Counter { $counter } of { $machine } restarted unseen: up to { $at-most } strokes may be lost
event-strokes-unattributed = { $count } strokes at { $machine } are nobody’s: { $why }
event-boards-counted = Boards past { $machine }: { $count }
event-order-released = Order { $order } for { $product } released{ $said ->
    [yes] {" "}(by { $by })
   *[no] {""}
 }
event-order-started = Order { $order } began at { $machine }{ $said ->
    [yes] {" "}(said by { $by })
   *[no] {""}
 }
event-order-finished = Order { $order } done at { $machine }, boards: { $made }{ $said ->
    [yes] {" "}(said by { $by })
   *[no] {""}
 }
event-gateway-started = The gateway started, version { $version }
event-gateway-stopped = The gateway stopped in order
event-configured = A configuration took effect
event-message-numbered = Message { $number } of { $machine } was dealt with
event-clock-doubted = { $machine } told a time that cannot be ({ $told }): { $wrong }
event-decision-doubted = { $decision } permitted to { $rule } and would have refused, had { $late } come in time: { $reasons }

## Words of ours inside sentences

word-side-top = top
word-side-bottom = bottom
word-asked-top = top
word-asked-bottom = bottom
word-stencil-for-top = top
word-stencil-for-bottom = bottom
word-band-in-service = in service
word-band-reorder = reorder
word-band-stopped = stopped
word-outcome-passed = passed
word-outcome-failed = failed
word-outcome-aborted = aborted
word-state-running = running
word-state-idle = idle
word-state-set-up = being set up
word-state-down = down
word-state-unknown = in an unknown state
word-rule-store = store
word-rule-take = take
word-rule-print = print
word-basis-counter = the printer’s counter
word-basis-reported = the printer’s reports
word-basis-pulses = pulses
word-basis-order = the order
word-basis-hand = entry by hand
word-checked-by-counter = the printer’s counter
word-checked-by-reported = the printer’s reports
word-checked-by-pulses = pulses
word-checked-by-order = the order
word-checked-by-hand = entry by hand
word-why-nothing-seated = no stencil was known in the printer; ask the line which one was in it
word-why-changed-meanwhile = the stencil was changed between two reads; split them
word-why-seat-unconfirmed = the link was broken and nobody confirmed the stencil since; ask the line
word-why-unknown-stencil = the code in the printer is not in the list; enter the stencil, then assign them
word-why-implausible = more at once than the printer can do; compare with the line’s own record and write off what was never made
word-why-too-late = told so late that nobody remembers what was in the printer; ask the line
word-why-wrap-or-restart = the counter went past zero unheard; compare with the line’s own record
word-why-first = the first value seen
word-why-seat-changed = the stencil was changed
word-why-restarted = it restarted at zero
word-why-accepted = a doubtful value was confirmed
word-why-misread = what looked like a restart was none
word-likely-counter-restarted = a counter restarted or jumped
word-likely-not-heard = a link or the gateway was down
word-likely-double-print = each panel is printed several times
word-likely-wrong-panel-factor = the order’s boards per print are wrong
word-likely-order-scrapped = the order was ended early
word-likely-silent = one of the two did not count at all
word-likely-unknown = nobody knows
word-wrong-ahead = its clock is ahead; set it
word-wrong-back = its clock went back; see who sets it

## Forms

optional = (may stay empty)
not-done = Not done.
see-field = See the marked field.
too-long = Too long: at most { $most } characters.
no-count = Not a whole number: write digits only.
no-name = Not a name: at most 64 characters, none of them invisible.
needed-by = Say who does this.
needed-why = Say for what reason.
needed-strokes = Say how many strokes.
field-by = Who
field-why = Why
field-strokes = Strokes

## Stencils

stencil = Stencil
product = Product
condition = Condition
machine = Machine
stencils-title = Stencils
stencils-find = Code or product contains
stencils-only = Show only
stencils-only-all = all in use
stencils-only-to-wash = to be washed
stencils-only-clean = clean
stencils-only-unknown = of unknown cleanliness
stencils-only-reorder = to reorder
stencils-only-stopped = stopped by wear
stencils-only-on-hold = on hold
stencils-only-concession = under a concession
stencils-only-retired = retired
stencils-order = Order by
stencils-order-code = code
stencils-order-wear = wear, most worn first
stencils-order-waiting = waiting for the wash, longest first
stencils-order-product = product
stencils-show = Show
stencils-found = { $count } found.
stencils-caption = Stencils with their condition
stencils-pages = More stencils
page-before = Page before
page-next = Next page
wear-of-life = { $strokes } of { $rated } rated strokes; { $percent } of its life

## One stencil

stencil-title = Stencil { $stencil }
done = Done and kept in the ledger.
stencil-may = What may be done with it
stencil-life = Its life
stencil-do = Do something
stencil-history = What happened to it
history-cut = The latest { $count } events are shown.
fact-place = Where
fact-strokes-since-wash = Strokes since its last wash
fact-last-stroke = Last stroke
fact-last-wash = Last wash
fact-washes = Washes
fact-wipes = Understencil wipes
fact-tension = Tension
fact-band = In this wear band since
forecast-reorder = Reorder
forecast-stop = Stops
forecast-order-by = Order its successor by
forecast-order-late = This day has passed
coming-reached = now
coming-expected = about { $day }, likely between { $earliest } and { $latest } (nine of ten)
coming-not-used = no date yet: no use before today to go by
coming-too-short = no date yet: its use covers too few production days
coming-too-uneven = no date: its use is too rare or too uneven
coming-plant-idle = no date: the plant has not worked for a year
coming-far-ahead = more than twenty years ahead
concession-so-far = Concession: { $used } of { $strokes } strokes used, until { $until }, by { $by }: { $why }
concession-without-end = Concession: { $used } of { $strokes } strokes used, by { $by }: { $why }
action-hold = Put on hold
action-hold-means = Nobody may use it until the hold is released.
action-release = Release the hold
action-release-means = It may be used again as far as its condition allows.
action-wash = Report a wash by hand
action-wash-means = You washed it, or saw it washed, and it is clean. Taken only where the plant allows it.
action-concession = Grant a concession
action-concession-means = A worn stencil may make so many more strokes. It is in the ledger with your name and reason.
action-withdraw = Withdraw the concession
action-withdraw-means = It may no longer be used beyond its rated life.
action-strokes = Enter strokes by hand
action-strokes-means = Strokes that no machine told of. They count towards its wear.
action-retire = Retire for good
action-retire-means = It can never be used again.
no-action = There is no such action: use a form of this page.
no-time = Not a time: write it like 2026-11-26T14:05.
needed-machine = Say at which machine.
needed-stencil = Say which stencil.
field-machine = Machine
field-until = Until
field-stencil = Stencil
to-tag = Print its tag

## One event

event-title = Event { $event }
event-decided-at = Decided
event-happened = Happened
event-machine-time = The machine’s own time
event-message = From the message
event-sender = Told by
event-before = Event before
event-after = Next event
correct = Correct this event
correct-strokes-means = Say whose strokes these were, and how many. The event stays; the correction is added.
correct-wash-means = Say that this was no wash. The event stays; the correction is added.

## Scan

scan-title = Scan
scan-field = Scan a stencil, order, slot, printer or washer
scan-send = Enter
scan-take = May I take it?
scan-store = May I store it?
scan-wash = I washed it
scan-anew = Begin anew
scan-how = In any order: stencil and order to take it; stencil and slot to store it; stencil and printer or washer to say that it is in there.
scan-next-place = Now scan the order, the slot, the printer or the washer.
scan-next-stencil = Now scan the stencil.
scan-take-permitted = Take it
scan-take-refused = Do not take it
scan-take-next = Take it out now, then scan it with the printer.
scan-take-instead = Do what is said above, or scan another stencil.
scan-store-permitted = Store it
scan-store-refused = Do not store it
scan-store-next = Put it into its slot now.
scan-store-instead = Do what is said above, then scan it again.
scan-done = Done
scan-refused = Not done
scan-was-first = First there was
scan-unknown = Not known
scan-unknown-code = { $code } is no stencil, order, slot, printer or washer that is known here. Scan it again, or write a slot as rack/slot.
scan-who = Who are you?

## Machines

machines-title = Machines
machines-nothing = The configuration names no machine.
machine-title = Machine { $machine }
kind-printer = Printer
kind-washer = Washer
kind-rack = Storage rack
kind-other = Other machine
link = Link
link-up = up
link-down = lost
link-never-up = never up
link-never-check = It was never heard. Check its address and cable, and run check on the configuration.
on-trial = on trial: shown, changes nothing
machine-faults = Faults it tells of
machine-state = State
machine-order = Order
machine-printing = Printing
machine-booked = Strokes booked
machine-unattributed = Strokes nobody attributed
machine-recent = What happened here lately
machine-recent-nothing = Nothing lately.
value = Value
machine-slots = Slots
slot = Slot
slot-holds = Holds
slot-empty = empty
slot-unknown = a stencil nobody named
trial-heard = Heard on trial
trial-means = What it says is decoded and shown, and changes nothing. Compare with the machine itself.
signal = Signal
last-value = Last value
heard-at = Heard
heard-count = Times

## Alarms

alarms-title = Alarms
the-gateway = the gateway
alarms-nothing = No alarm stands.
alarms-order = In order of
alarms-by-priority = priority
alarms-by-time = time
alarms-with-ticked = With the ticked ones
alarms-none-ticked = Tick at least one alarm.
alarms-how = Shelving and taking out of service need a comment that says why; shelving ends after the minutes given.
field-comment = Comment
needed-comment = Say why, or what there is to say.
field-minutes = Minutes on the shelf
needed-minutes = Say for how many minutes.
alarm-acknowledge = Acknowledge
alarm-shelve = Shelve
alarm-comment = Comment
alarm-unshelve = Take off the shelf
alarm-reset = Reset
alarm-take-out = Take out of service
alarm-return = Return to service
alarm-priority = Priority
until = until
priority-low = low
priority-medium = medium
priority-high = high
priority-critical = critical
word-to-normal = normal
word-to-unacknowledged = unacknowledged
word-to-acknowledged = acknowledged
word-to-returned-unacknowledged = gone, unacknowledged
word-to-latched-unacknowledged = latched, unacknowledged
word-to-latched-acknowledged = latched, acknowledged
word-to-shelved = shelved
word-to-suppressed = suppressed by design
word-to-out-of-service = out of service
role-operator = For the line operator
role-technician = For the technician
role-engineer = For the engineer
role-manager = For the manager
alarm-kind-machine-fault = fault
alarm-todo-machine-fault = Go to the machine and clear the fault.
word-kind-machine-fault = fault
alarm-kind-link-lost = link lost
alarm-todo-link-lost = See that the machine is on, then its cable, switch and broker.
word-kind-link-lost = link lost
alarm-kind-wash-failed = wash failed
alarm-todo-wash-failed = Look at it and wash it again; if it fails again, look at the washer.
word-kind-wash-failed = wash failed
alarm-kind-wash-overdue = wash overdue
alarm-todo-wash-overdue = Wash it now.
word-kind-wash-overdue = wash overdue
alarm-kind-storage-breached = stored without permission
alarm-todo-storage-breached = Take it out and wash it, then ask to store it.
word-kind-storage-breached = stored without permission
alarm-kind-counter-doubted = counter doubted
alarm-todo-counter-doubted = See whether it was reset or misread, and whether its address is right.
word-kind-counter-doubted = counter doubted
alarm-kind-counter-restarted = counter restarted unseen
alarm-todo-counter-restarted = Ask the line how many were made, enter them by hand, then reset the alarm.
word-kind-counter-restarted = counter restarted unseen
alarm-kind-bases-disagree = counts disagree
alarm-todo-bases-disagree = Compare both with the line’s record, correct what is wrong, then reset the alarm.
word-kind-bases-disagree = counts disagree
alarm-kind-strokes-unattributed = unattributed strokes
alarm-todo-strokes-unattributed = Ask the line which stencil was in it, then assign them or write them off.
word-kind-strokes-unattributed = unattributed strokes
alarm-kind-stencil-stopped = worn stencil in a printer
alarm-todo-stencil-stopped = Take it out and use its successor, or ask a manager for a concession.
word-kind-stencil-stopped = worn stencil in a printer
alarm-kind-intake-full = signals come too fast
alarm-todo-intake-full = Look for a machine that floods, and for a slow disk.
word-kind-intake-full = signals come too fast
alarm-kind-ledger-trouble = the ledger takes no writes
alarm-todo-ledger-trouble = Free the disk or mend its mount; the gateway goes on by itself.
word-kind-ledger-trouble = the ledger takes no writes
event-alarm-raised = Alarm raised: { $kind }
event-alarm-cleared = Alarm over: { $kind }
event-alarm-acknowledged = Alarm acknowledged by { $by }: { $kind }
event-alarm-reset = Alarm reset by { $by }: { $kind }
event-alarm-shelved = Alarm shelved until { $until } by { $by }: { $kind }; { $why }
event-alarm-unshelved = Alarm off the shelf: { $kind }
event-alarm-suppressed = Alarm suppressed while people work on { $under-maintenance }: { $kind }
event-alarm-released = Alarm no longer suppressed: { $kind }
event-alarm-taken-out = Alarm taken out of service by { $by }: { $kind }; { $why }
event-alarm-returned = Alarm returned to service by { $by }: { $kind }
event-alarm-alarmed-again = Alarm told again: { $kind }
event-alarm-commented = { $by } says of the alarm { $kind }: { $comment }
event-alarm-maintenance-began = { $by } works on { $machine }: { $why }
event-alarm-maintenance-ended = Work on { $machine } is done, says { $by }

## Unattributed strokes

unattributed-title = Strokes nobody could attribute
unattributed-means = They count for no stencil until somebody says whose they are. Ask the line; the oldest come first.
unattributed-nothing = Every stroke has its stencil.
unattributed-entry = { $strokes } strokes at { $machine }
unattributed-assign = Keep this
unattributed-say = Say of at least one stencil how many strokes it made, or how many to write off.
unattributed-correct = Something booked wrongly? Open its event from the stencil’s history and correct it there.
field-write-off = Strokes of no stencil, to write off
needed-write-off = Say how many to write off.

## Wear

wear-title = Wear and replacement
wear-not-yet = The ledger is still being read for the first time: forecasts and the use over time follow in a moment.
wear-plan = What to order, the earliest first
wear-plan-nothing = No stencil is listed yet. Import a list, or let a machine name one.
wear-plan-means = Order by: the early end of when it stops, less the supplier’s lead time. Where that is not known, when to reorder by the plant’s limits.
wear-per-day = Strokes a day
wear-price = Price
wear-more = All stencils by wear
wear-concessions = Concessions
wear-concessions-nothing = None is granted.
wear-use = Use over time
wear-use-means = Strokes of all stencils in use by day (UTC), the last 90 days with strokes

## Tag

tag-title = Tag of { $stencil }
tag-rated = Rated for { $rated } strokes
tag-hold = ON HOLD
tag-pdf = The tag as PDF
tag-svg = The symbol alone, as SVG
tag-back = Back to the stencil
tag-how = Print this page: only the tag is printed. The symbol is a Data Matrix of the code.
tag-too-long = The code is too long for a symbol.

## Who comes in

sign-in-title = Sign in
sign-in-means = With your name or badge. At a shared station the PIN is enough.
sign-out = Sign out
confirm-title = Confirm that it is you
confirm-means = What you are about to do counts for much. Say again who you are; where a second person is needed, they confirm beside you.
confirm-first = Before this can be done, confirm that it is you.
secret-title = Change your password
secret-means = You are signed out everywhere afterwards.
not-yours = This is for somebody of another role.
is-operator = line operator
is-technician = technician
is-engineer = engineer
is-manager = manager
field-name = Name or badge
field-secret = Password, or PIN at a shared station
field-second-name = Name of a second person
field-second-secret = Their password or PIN
field-old = Password so far
field-new = New password
field-new-hint = 12 to 128 characters, such as four words that do not belong together.
door-401 = Signing in was refused: the name or the secret is wrong, or it was tried too often. Wait a little and try again.
door-403 = A PIN is not enough to change a password: sign in with the password.
door-409 = The second person must be another one, technician at least.
door-422 = That password is not taken: choose another one, longer and not a common one.
door-503 = That cannot be done at the moment: try again later.

machine-do = What to say about it
action-seat = A stencil was put in
action-seat-means = For machines that do not say by themselves what is in them. Scanning says the same.
action-remove = The stencil was taken out
action-remove-means = Nothing is in it now.
action-start = Start an order
action-start-means = From now on it works on this order, which was released before.
action-finish = Finish an order
action-finish-means = The order is done here. With the boards made, strokes are compared with them.
action-begin-maintenance = Begin maintenance
action-begin-maintenance-means = Alarms that follow from it are silent until the maintenance ends.
action-end-maintenance = End maintenance
action-end-maintenance-means = Its alarms sound again.
maintenance = Under maintenance:
field-order = Order
needed-order = Say which order.
field-made = Boards made
needed-made = Say how many boards.
machines-rest = All others
machine-points = What it tells, and what that is worth
point = Point
point-age = Heard, ago
point-quality = Quality
quality-never = Not heard since the gateway began
quality-doubted = Doubted: the last value cannot be, the one before counts
quality-waiting = Waits until the machine names its stencil
quality-old = Old: the link is not up
quality-good = Good
signal-stroke-total = Stroke total
signal-strokes-done = Strokes
signal-wipes-done = Wipes
signal-stencil-seated = Stencil in it
signal-stencil-removed = Stencil taken out
signal-wash-began = Wash began
signal-wash-ended = Wash ended
signal-slot-occupied = Slot filled
signal-slot-emptied = Slot emptied
signal-store-asked = Asked to store
signal-take-asked = Asked to take
signal-machine-state = State
signal-fault-raised = Fault raised
signal-fault-ended = Fault ended
signal-message-numbered = Message number
signal-measured = Measurement
signal-order-released = Order released
signal-order-started = Order started
signal-order-finished = Order finished
signal-boards-counted = Boards

measures = How well the alarms serve
measures-nothing = None was told in the last thirty days.
measures-days = Over { $span }, for each operator; the standards ask for thirty days.
measure-what = Measure
measure-guide = Good is
measure-told = Alarms told
measure-per-ten-minutes = In ten minutes, on average
measure-peak = In ten minutes, at most
measure-floods = Floods
measure-in-flood = Share of time in flood
measure-chattering = Chattering
measure-fleeting = Fleeting
measure-stale = Stale: longer than a day
measure-share = Share of priority
measure-top = Told most often
