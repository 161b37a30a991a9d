#!/usr/bin/env python3
"""Plays a whole job over HTTP with nothing but Python's standard library.

    play.py SERVICE BENCH

SERVICE is where coilside serves, such as http://127.0.0.1:7285; a token, where
one is needed, is in the environment as COILSIDE_TOKEN. BENCH stands for the
technician: a small HTTP service that is told what to measure, in which setup,
and answers with what the meter shows. Put your own in its place.
"""
import json
import os
import sys
import urllib.request

MOST_STEPS = 60


def post(url, body, headers=None):
    request = urllib.request.Request(
        url, json.dumps(body).encode(),
        {"Content-Type": "application/json", **(headers or {})})
    with urllib.request.urlopen(request, timeout=60) as answer:
        return json.load(answer)


class Service:
    """Calls methods of the service; a refusal becomes an exception."""

    def __init__(self, url):
        self.url = url + "/rpc"
        self.calls = 0
        token = os.environ.get("COILSIDE_TOKEN")
        self.headers = {"Authorization": "Bearer " + token} if token else {}

    def call(self, method, **params):
        self.calls += 1
        answer = post(self.url, {"jsonrpc": "2.0", "id": self.calls, "method": method, "params": params}, self.headers)
        if answer["id"] != self.calls:
            raise RuntimeError(f"the answer is to call {answer['id']}, not {self.calls}")
        if "error" in answer:
            raise RuntimeError(f"{method}: {answer['error']['message']}")
        return answer["result"]


def repair(service, bench, job, suspects):
    """Mends one suspect after the other until the complaint is gone."""
    for suspect in suspects:
        result = post(bench + "/repair", {"suspect": suspect})["result"]
        reply = service.call("job.repair", job=job, suspect=suspect, action="repaired " + suspect, result=result)
        if result == "gone":
            return reply, True
    return reply, False


def measure(service, bench, job, test):
    """Has the bench do one test and records what it shows."""
    shown = post(bench + "/measure", {"measure": test["measure"], "setup": test["setup"]})
    return service.call("job.record", job=job, test=test["id"], answer=shown["answer"])


def play(service, bench):
    with urllib.request.urlopen(bench + "/job", timeout=60) as answer:
        opened = service.call("job.open", **json.load(answer))
    job, reply = opened["job"], opened["reply"]
    for _ in range(MOST_STEPS):
        if reply["conclusion"]:
            proven = reply["conclusion"]["suspects"]
            reply, gone = repair(service, bench, job, proven)
            if gone:
                # The job is closed as fixed only with the tests done that prove the repair.
                while reply["next"] and not reply["proof_of_repair"]["proven"]:
                    reply = measure(service, bench, job, reply["next"])
                if reply["proof_of_repair"]["proven"]:
                    service.call("job.close", job=job, outcome="fixed")
                    return job, proven
        elif reply["next"]:
            reply = measure(service, bench, job, reply["next"])
        else:
            break
    service.call("job.close", job=job, outcome="unproven")
    return job, []


if __name__ == "__main__":
    played, proven = play(Service(sys.argv[1]), sys.argv[2])
    print(played, *proven)
