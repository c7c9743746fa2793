//! Files that are rehearsed. Everything in them is invented.

/// A plant with a machine of every way to be wired. `$RTU`, `$MODULE`, `$RACK`, `$OVEN` and
/// `$BROKER` stand for ports of loopback, `$SERIAL` for a serial port.
pub(crate) const HALL: &str = r#"
site: Invented Works
ledger: real.db
policy:
  wash: { valid-for: 1h, dry-out: 10min }
  permit: 30s
stencils:
  - { code: ST-1, product: Heron, rated-strokes: 50000, clean: true }
  - { code: ST-2, product: Heron, rated-strokes: 50000, clean: true }
  - { code: ST-3, product: Heron, rated-strokes: 50000, clean: true }
  - { code: ST-4, product: Heron, rated-strokes: 50000 }
brokers:
  - { name: floor, address: "127.0.0.1:$BROKER", client: invented, user: somebody, password-file: nowhere }
machines:
  - name: printer-1
    kind: printer
    fastest-cycle: 400ms
    modbus:
      address: 127.0.0.1:$RTU
      framing: rtu
      unit: 3
      poll: 200ms
      points:
        - { signal: stroke-total, table: input, at: 0, type: u32, words: low-first }
        - { signal: machine-state, table: input, at: 4, type: u16, values: { 0: idle, 1: running } }
        - { signal: stencil-present, table: discrete, at: 3, active: off }
        - { signal: stencil-seated, table: holding, at: 10, type: text, registers: 8 }
        - { signal: life-sign, table: input, at: 9, type: u16, within: 4s }
        - { signal: wipe-total, table: input, at: 12, type: u16 }
        - { signal: board-total, table: input, at: 13, type: u16 }
      outputs:
        - { name: lock, drive: print-permit, table: coil, at: 0, on-permit: false, read-back: { table: discrete, at: 7 } }
  - { name: printer-2, kind: printer, fastest-cycle: 2s, strokes: { book: pulses, check: [] } }
  - name: io-1
    kind: other
    counts-for: printer-2
    modbus:
      address: 127.0.0.1:$MODULE
      poll: 50ms
      points:
        - { signal: stroke-contact, table: discrete, at: 0 }
        - { signal: wipe-contact, table: discrete, at: 1 }
  - name: printer-3
    kind: printer
    line: line-3
    fastest-cycle: 400ms
    mqtt:
      broker: floor
      messages:
        - { topic: p3/total, signal: stroke-total, width: 16 }
        - { topic: p3/stencil, signal: stencil-seated, stencil: /code }
        - { topic: p3/here, signal: link, up: [there], lost: [gone] }
      outputs:
        - name: lock
          drive: print-permit
          topic: p3/do
          number: /no
          permit: '{"print": "on"}'
          refuse: '{"print": "off"}'
          answer: { topic: p3/done, number: /no, value: /state, done: [ok], within: 1s }
  - name: line-3-control
    kind: other
    line: line-3
    mqtt:
      broker: floor
      messages:
        - { topic: line-3/order, signal: order-started, when: { /event: start }, order: /order, panels-per-stroke: /up }
        - { topic: line-3/order, signal: order-finished, when: { /event: end }, order: /order, made: /good }
        - { topic: line-3/boards, signal: boards-counted, count: /n, identity: /id }
  - { name: bench, kind: printer, strokes: { book: hand } }
  - name: printer-4
    kind: printer
    trial: true
    fastest-cycle: 400ms
    mqtt:
      broker: floor
      messages:
        - { topic: p4/total, signal: stroke-total, width: 16 }
  - name: washer-1
    kind: washer
    modbus:
      serial: { port: $SERIAL, baud: 38400 }
      unit: 17
      poll: 500ms
      timeout: 200ms
      points:
        - { signal: wash-running, table: discrete, at: 0 }
        - { signal: wash-result, table: input, at: 0, type: u16, values: { 1: passed, 2: failed } }
        - { signal: wash-stencil, table: holding, at: 10, type: text, registers: 8 }
        - { signal: measured, table: input, at: 4, type: u16, scale: 0.1, quantity: resistivity, unit: "MΩ·cm" }
  - name: washer-2
    kind: washer
    modbus:
      serial: { port: $SERIAL, baud: 38400 }
      unit: 18
      poll: 500ms
      timeout: 200ms
      points:
        - { signal: wash-running, table: discrete, at: 0 }
        - { signal: wash-result, table: input, at: 0, type: u16, values: { 1: passed, 2: failed } }
  - name: rack-1
    kind: rack
    modbus:
      address: 127.0.0.1:$RACK
      poll: 200ms
      points:
        - { signal: slot, table: discrete, at: 0, slot: A1 }
        - { signal: slot, table: discrete, at: 1, slot: A2 }
        - { signal: slot, table: discrete, at: 2, slot: A3 }
        - { signal: slot, table: discrete, at: 3, slot: A4 }
        - { signal: store-asked, table: discrete, at: 8 }
        - { signal: take-asked, table: discrete, at: 9 }
        - { signal: asked-stencil, table: input, at: 20, type: text, registers: 8 }
      outputs:
        - { name: door, drive: door-release, table: coil, at: 0 }
  - name: planning
    kind: other
    files: { folder: orders, poll: 200ms, settle: 200ms }
  - name: oven
    kind: other
    modbus:
      address: 127.0.0.1:$OVEN
      tls: { ca: ca.pem, certificate: own.pem, key: own.key }
      poll: 500ms
      points:
        - { signal: measured, table: input, at: 0, type: u16, quantity: temperature, unit: "°C" }
        - { signal: fault, table: discrete, at: 0, code: E-1, text: the door is open }
        - { signal: order-quantity, table: input, at: 40, type: u16 }
        - { signal: order, table: input, at: 41, type: u16 }
"#;

/// Two printers whose stencils need not be taken first.
pub(crate) const TWO_PRINTERS: &str = r#"
site: Invented Works
policy:
  printing: { needs-take: false }
  counting: { seat-wait: 2s }
stencils:
  - { code: ST-1, rated-strokes: 50000, clean: true }
  - { code: ST-2, rated-strokes: 50000, clean: true }
brokers: [{ name: floor, address: "192.0.2.1:1883", client: invented }]
machines:
  - name: printer-1
    kind: printer
    fastest-cycle: 80ms
    modbus:
      address: 192.0.2.1:502
      poll: 100ms
      timeout: 1s
      points:
        - { signal: stroke-total, table: input, at: 0, type: u16 }
        - { signal: stencil-seated, table: holding, at: 10, type: text, registers: 8 }
        - { signal: fault, table: discrete, at: 9, code: E-9, text: no paste }
      outputs:
        - { name: lock, drive: print-permit, table: coil, at: 0 }
  - name: printer-2
    kind: printer
    fastest-cycle: 80ms
    mqtt:
      broker: floor
      messages:
        - { topic: p2/stroke, signal: strokes-done, count: /n, identity: /id }
        - { topic: p2/stencil, signal: stencil-seated, stencil: /code }
        - { topic: p2/here, signal: link, up: [there], lost: [gone] }
      outputs:
        - { name: lock, drive: print-permit, topic: p2/lock, permit: go, refuse: stop, read-back: p2/locked }
"#;

/// A plant made of the shipped profiles, and of what they leave to others.
pub(crate) const PROFILES: &str = r#"
site: Invented Works
machines:
  - { name: printer-1, profile: printer-total, with: { address: "192.0.2.1:502", cycle: 400ms } }
  - { name: washer-1, profile: washer-status, with: { address: "192.0.2.2:502" } }
  - { name: rack-1, profile: rack-slots, with: { address: "192.0.2.3:502", slots: 3 } }
  - { name: printer-2, kind: printer, fastest-cycle: 400ms }
  - { name: printer-3, kind: printer, fastest-cycle: 400ms }
  - name: module-1
    profile: module-pulses
    with: { address: "192.0.2.4:502", inputs: 2 }
    counters: [{ counter: input-1, of: printer-2 }, { counter: input-2, of: printer-3 }]
"#;
