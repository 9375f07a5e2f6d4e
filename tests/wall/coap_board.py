"""A small board that speaks CoAP through aiocoap, and knows nothing of this project.

    python coap_board.py PORT

It prints `ready` and serves until its standard input closes.  A heater follows a set point at once,
and a lamp is red from 30 degrees:

    climate    SenML in CBOR, observable: temperature, humidity, boots
    setpoint   JSON {"celsius": 21.5}: put and get; anything but 0 to 50 is refused
    lamp       a word; answers after 0.3 s, hence in a message of its own
    serial     a text
    notes      a text, put and get; long ones go block by block
"""

import asyncio
import json
import sys

import aiocoap
import cbor2
from aiocoap import resource


class Board:
    def __init__(self) -> None:
        self.celsius = 21.5
        self.notes = b""
        self.climate = Climate(self)


class Climate(resource.ObservableResource):
    def __init__(self, board: Board) -> None:
        super().__init__()
        self.board = board

    async def render_get(self, request: aiocoap.Message) -> aiocoap.Message:
        pack = [
            {-2: "urn:dev:ow:10e2073a01080063:", 0: "temperature", 1: "Cel", 2: self.board.celsius},
            {0: "humidity", 1: "%RH", 2: 45},
            {0: "boots", 2: 7},
        ]
        return aiocoap.Message(payload=cbor2.dumps(pack), content_format=112)


class Setpoint(resource.Resource):
    def __init__(self, board: Board) -> None:
        super().__init__()
        self.board = board

    async def render_get(self, request: aiocoap.Message) -> aiocoap.Message:
        text = json.dumps({"celsius": self.board.celsius})
        return aiocoap.Message(payload=text.encode(), content_format=50)

    async def render_put(self, request: aiocoap.Message) -> aiocoap.Message:
        wanted = json.loads(request.payload)["celsius"]
        if not 0 <= wanted <= 50:
            return aiocoap.Message(code=aiocoap.BAD_REQUEST, payload=b"0 to 50")
        self.board.celsius = wanted
        self.board.climate.updated_state()
        return aiocoap.Message(code=aiocoap.CHANGED)


class Lamp(resource.Resource):
    def __init__(self, board: Board) -> None:
        super().__init__()
        self.board = board

    async def render_get(self, request: aiocoap.Message) -> aiocoap.Message:
        await asyncio.sleep(0.3)
        word = b"red" if self.board.celsius >= 30 else b"green"
        return aiocoap.Message(payload=word, content_format=0)


class Serial(resource.Resource):
    async def render_get(self, request: aiocoap.Message) -> aiocoap.Message:
        return aiocoap.Message(payload=b"BOARD-7", content_format=0)


class Notes(resource.Resource):
    def __init__(self, board: Board) -> None:
        super().__init__()
        self.board = board

    async def render_get(self, request: aiocoap.Message) -> aiocoap.Message:
        return aiocoap.Message(payload=self.board.notes, content_format=0)

    async def render_put(self, request: aiocoap.Message) -> aiocoap.Message:
        self.board.notes = request.payload
        return aiocoap.Message(code=aiocoap.CHANGED)


async def serve(port: int) -> None:
    board = Board()
    site = resource.Site()
    site.add_resource(["climate"], board.climate)
    site.add_resource(["setpoint"], Setpoint(board))
    site.add_resource(["lamp"], Lamp(board))
    site.add_resource(["serial"], Serial())
    site.add_resource(["notes"], Notes(board))
    context = await aiocoap.Context.create_server_context(site, bind=("127.0.0.1", port))
    print("ready", flush=True)
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)
    await context.shutdown()


BENCH = """\
bench: board
interface: lo
host: 127.0.0.1
nodes:
  board:
    number: 7
    address: 127.0.0.1:@port
    serial: BOARD-7
    answer-within: 1 s
    coap:
      renew: 500 ms
      ack-timeout: 500 ms
      serial: serial
      boots: {path: climate, format: senml+cbor, record: boots}
    signals:
      temperature:
        unit: degC
        range: -10 degC to 50 degC
        coap: {path: climate, format: senml+cbor, record: temperature, observe: yes}
      humidity:
        unit: "%"
        range: 0 % to 100 %
        coap: {path: climate, format: senml+cbor, record: humidity, observe: yes}
      setpoint:
        unit: degC
        range: -10 degC to 60 degC
        coap: {path: setpoint, format: json, pointer: /celsius, poll: 100 ms}
        drive: {safe: 21.5 degC, readback: setpoint}
      lamp:
        labels: {0: green, 1: red}
        coap: {path: lamp, poll: 200 ms}
      notes:
        text: yes
        coap: {path: notes, poll: 100 ms}
        drive: {safe: "", actuator: no}
"""

PLAN = """\
plan: Board
cases:
  - case: the climate follows the set point
    steps:
      - stimulus: {board.setpoint: 24.25 degC}
        expect:
          - {signal: board.temperature, value: 24.25 degC, within: 300 ms}
          - {signal: board.setpoint, value: 24.25 degC, within: 500 ms}
          - {signal: board.humidity, value: 45 %, within: 300 ms}
  - case: heat turns the lamp red
    steps:
      - stimulus: {board.setpoint: 30 degC}
        expect: [{signal: board.lamp, value: red, within: 2 s}]
  - case: what is out of its range is refused
    steps:
      - stimulus: {board.setpoint: 55 degC}
        expect: [{signal: board.setpoint, value: 55 degC, within: 300 ms}]
  - case: a long text goes block by block
    steps:
      - stimulus: {board.notes: "@long"}
        expect: [{signal: board.notes, value: "@long", within: 1 s}]
  - case: a wrong expectation
    steps:
      - stimulus: {board.setpoint: 25 degC}
        expect: [{signal: board.temperature, value: 250 degF, tolerance: 1 degF, within: 300 ms}]
""".replace("250 degF, tolerance: 1 degF", "45 degC, tolerance: 1 degC")


if __name__ == "__main__":
    asyncio.run(serve(int(sys.argv[1])))
