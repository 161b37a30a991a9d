#!/usr/bin/env bash
# Plays a whole job with curl, and jq to take the answers apart.
#
#     play.sh SERVICE BENCH
#
# SERVICE is where coilside serves, such as http://127.0.0.1:7285; a token, where
# one is needed, is in the environment as COILSIDE_TOKEN. BENCH stands for the
# technician: a small HTTP service that is told what to measure, in which setup,
# and answers with what the meter shows. Put your own in its place.
set -euo pipefail
service=$1
bench=$2
most_steps=60

# post sends its standard input as JSON. The token goes by a file, so that the
# list of processes does not show it.
post() {
	curl --silent --show-error --fail-with-body --max-time 60 \
		--config <(if [ -n "${COILSIDE_TOKEN:-}" ]; then echo "header = \"Authorization: Bearer $COILSIDE_TOKEN\""; fi) \
		--header 'Content-Type: application/json' --data-binary @- "$1"
}

# call makes one call with the parameters on its standard input. A refusal ends
# the script.
call() {
	local answer
	answer=$(jq -c --arg method "$1" '{jsonrpc: "2.0", id: 1, method: $method, params: .}' | post "$service/rpc")
	if jq -e '.error' >/dev/null <<<"$answer"; then
		echo "$1: $(jq -r '.error.message' <<<"$answer")" >&2
		exit 1
	fi
	jq -c '.result' <<<"$answer"
}

# repair mends one suspect after the other until the complaint is gone; it sets
# reply and result.
repair() {
	local suspect
	for suspect in "$@"; do
		result=$(jq -cn --arg s "$suspect" '{suspect: $s}' | post "$bench/repair" | jq -r .result)
		reply=$(jq -cn --arg job "$job" --arg s "$suspect" --arg r "$result" \
			'{job: $job, suspect: $s, action: "repaired \($s)", result: $r}' | call job.repair)
		if [ "$result" = gone ]; then return; fi
	done
}

# measure has the bench do the test proposed and records what it shows; it sets reply.
measure() {
	local answer
	answer=$(jq -c '.next | {measure, setup}' <<<"$reply" | post "$bench/measure" | jq -c .answer)
	reply=$(jq -c --arg job "$job" --argjson answer "$answer" \
		'{job: $job, test: .next.id, answer: $answer}' <<<"$reply" | call job.record)
}

close() { jq -cn --arg job "$job" --arg o "$1" '{job: $job, outcome: $o}' | call job.close >/dev/null; }

opened=$(curl --silent --show-error --fail "$bench/job" | call job.open)
job=$(jq -r .job <<<"$opened")
reply=$(jq -c .reply <<<"$opened")
for ((step = 0; step < most_steps; step++)); do
	if jq -e .conclusion >/dev/null <<<"$reply"; then
		mapfile -t proven < <(jq -r '.conclusion.suspects[]' <<<"$reply")
		repair "${proven[@]}"
		if [ "$result" = gone ]; then
			# The job is closed as fixed only with the tests done that prove the repair.
			while jq -e '.next and (.proof_of_repair.proven | not)' >/dev/null <<<"$reply"; do measure; done
			if jq -e .proof_of_repair.proven >/dev/null <<<"$reply"; then
				close fixed
				echo "$job ${proven[*]}"
				exit
			fi
		fi
	elif jq -e .next >/dev/null <<<"$reply"; then
		measure
	else
		break
	fi
done
close unproven
echo "$job"
