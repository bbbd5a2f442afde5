"""A Modbus server of pymodbus 3.0 (Debian python3-pymodbus, python3-serial-asyncio)
for the test of sensors/modbus: another's implementation of the protocol.

    modbus_server.py tcp PORT | rtu DEVICE

Units 1 and 2; holding and input registers:
     0  i16  415           10  u16 65533, the counter
     2  f32  41.5          20  i32 -70000
     4  f32  41.5, low word first   22  i32 -70000, low word first
     6  f32  NaN           30  exceptions from here up
Coils and discrete inputs: 1 at odd addresses. SIGUSR1 makes the counter count 40.
"""
import asyncio
import signal
import sys

from pymodbus.constants import Endian
from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.payload import BinaryPayloadBuilder
from pymodbus.server import StartAsyncSerialServer, StartAsyncTcpServer
from pymodbus.transaction import ModbusRtuFramer


def builder(low_first=False):
    return BinaryPayloadBuilder(byteorder=Endian.Big, wordorder=Endian.Little if low_first else Endian.Big)


def numbers():
    values = [0] * 30

    def put(at, payload):
        registers = payload.to_registers()
        values[at:at + len(registers)] = registers

    put_at = [
        (0, "add_16bit_int", 415, False), (2, "add_32bit_float", 41.5, False), (4, "add_32bit_float", 41.5, True),
        (6, "add_32bit_float", float("nan"), False), (10, "add_16bit_uint", 65533, False),
        (20, "add_32bit_int", -70000, False), (22, "add_32bit_int", -70000, True),
    ]
    for at, add, value, low_first in put_at:
        payload = builder(low_first)
        getattr(payload, add)(value)
        put(at, payload)
    return values


def unit():
    flags = [i % 2 for i in range(30)]
    return ModbusSlaveContext(
        hr=ModbusSequentialDataBlock(0, numbers()), ir=ModbusSequentialDataBlock(0, numbers()),
        co=ModbusSequentialDataBlock(0, flags), di=ModbusSequentialDataBlock(0, flags), zero_mode=True)


async def count(context):
    for _ in range(40):
        now = context[1].getValues(3, 10, 1)[0]
        context[1].setValues(3, 10, [(now + 1) & 0xFFFF])
        await asyncio.sleep(0.05)
    print("counted 40", flush=True)


async def main(way, where):
    context = ModbusServerContext(slaves={1: unit(), 2: unit()}, single=False)
    loop = asyncio.get_running_loop()
    loop.add_signal_handler(signal.SIGUSR1, lambda: loop.create_task(count(context)))
    print("serving", flush=True)
    if way == "tcp":
        await StartAsyncTcpServer(context=context, address=("127.0.0.1", int(where)), allow_reuse_address=True)
    else:
        # A pseudo-terminal has no parity, and some kernels refuse it.
        await StartAsyncSerialServer(context=context, framer=ModbusRtuFramer, port=where, baudrate=19200,
                                     parity="N", stopbits=1, ignore_missing_slaves=True)


asyncio.run(main(sys.argv[1], sys.argv[2]))
