"""One job at a time: begun, followed, stopped, and the next in its turn."""

from __future__ import annotations

import asyncio
import json
import os
import time
from collections.abc import Awaitable, Callable
from multiprocessing.process import BaseProcess

import pytest

from evenacre.desk.jobs import Board, Job
from evenacre.desk.work import Ended, Say, Stage
from evenacre.errors import InputError


def counts(say: Say, most: int) -> Ended:
    for number in range(most):
        say(Stage("counting", number, most))
    return Ended((f"counted to {most}",), "/")


def fails(_say: Say) -> Ended:
    raise InputError.at("a.csv", "", "It is wrong.", "Mend it.")


def breaks(_say: Say) -> Ended:
    os._exit(9)


def waits(say: Say) -> Ended:
    say(Stage("waiting"))
    time.sleep(60)
    return Ended()


async def until(board: Board, ready: Callable[[Job], bool]) -> Job:
    async for text in board.watched():
        if text and ready(board.job):
            assert json.loads(text)["number"] <= board.job.number
            return board.job
    raise AssertionError("it never was")


def on_board(job: Callable[[Board], Awaitable[None]]) -> None:
    async def run() -> None:
        board = Board()
        try:
            await asyncio.wait_for(job(board), 60)
        finally:
            board.hush()
            board.close()

    asyncio.run(run())


def test_a_job_is_followed_to_its_end_and_the_next_has_its_turn() -> None:
    async def job(board: Board) -> None:
        board.start("Count", counts, 3)
        with pytest.raises(InputError, match="is at work"):
            board.start("Count", counts, 4)
        board.start_in_turn("Fail", fails)
        board.start_in_turn("Fail", fails)
        board.start_in_turn("Break", breaks)
        told: dict[int, Job] = {}
        async for _ in board.watched():
            told[board.job.number] = board.job
            if board.job.number == 3 and board.job.state != "running":
                break
        assert told[3].state == "failed"
        assert "broke off" in told[3].told[0]

    on_board(job)


def test_a_job_that_cannot_be_started_stands_in_nobodys_way(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    async def job(board: Board) -> None:
        with monkeypatch.context() as patched:

            def start(_process: object) -> None:
                raise OSError(11, "Resource temporarily unavailable")

            patched.setattr(BaseProcess, "start", start)
            with pytest.raises(OSError, match="temporarily"):
                board.start("Count", counts, 2)
        assert board.job.state == "none"
        board.stop()
        board.start("Count", counts, 2)
        ended = await until(board, lambda job: job.state != "running")
        assert ended.state == "done"

    on_board(job)


def test_bad_input_is_told_in_words() -> None:
    async def job(board: Board) -> None:
        board.start("Fail", fails)
        ended = await until(board, lambda job: job.state != "running")
        assert (ended.state, ended.told) == ("failed", ("a.csv: It is wrong. Mend it.",))

    on_board(job)


def test_a_job_that_is_stopped_makes_room_for_the_next() -> None:
    async def job(board: Board) -> None:
        board.start("Wait", waits)
        await until(board, lambda job: job.stage == "waiting")
        board.stop()
        assert board.job.state == "stopped"
        board.start("Count", counts, 2)
        ended = await until(board, lambda job: job.state != "running")
        assert (ended.number, ended.state, ended.told) == (2, "done", ("counted to 2",))

    on_board(job)
