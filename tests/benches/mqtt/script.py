"""What one would write instead of a gateway: each message of a broker into SQLite, a commit for
each, and only then the acknowledgement. Prints messages a second.

    script.py HOST PORT CLIENT FILE MESSAGES
"""

import json
import sqlite3
import sys
import time

from paho.mqtt.client import CallbackAPIVersion, Client, MQTTv311

host, port, name, file, wanted = sys.argv[1:]
wanted = int(wanted)
ledger = sqlite3.connect(file, isolation_level=None, check_same_thread=False)
ledger.execute("PRAGMA journal_mode=WAL")
ledger.execute("PRAGMA synchronous=FULL")
ledger.execute("CREATE TABLE strokes (id TEXT PRIMARY KEY, at REAL, count INTEGER, message TEXT)")
heard = 0


def arrived(client, _data, message):
    global heard
    fields = json.loads(message.payload)
    ledger.execute(
        "INSERT OR IGNORE INTO strokes VALUES (?, ?, ?, ?)",
        (fields["id"], time.time(), fields["count"], message.payload.decode()),
    )
    client.ack(message.mid, message.qos)
    heard += 1
    if heard == wanted:
        print(wanted / (time.monotonic() - begun), flush=True)
        client.disconnect()


client = Client(
    CallbackAPIVersion.VERSION2,
    client_id=name,
    clean_session=False,
    protocol=MQTTv311,
    manual_ack=True,
)
client.on_message = arrived
begun = time.monotonic()
client.connect(host, int(port))
client.loop_forever()
