"""The record of a job: an append-only, hash-chained history of what was looked at and decided.

How it is used (all of it thread-safe; open one `Record` for each process and
share it):

    record = Record.open(root)                    # record.py; makes JOB/record.sqlite at first use
    job = load_evidence(root)                     # evidence.py: checklist.json with its hashes
    record.adopt(job, by="A. Person")             # entry `checklist`, only when something changed
    state = record.state(job)                     # state.py: everything decided so far

    state.standings["core-outside-grip:F01"]      # Standing: item, status, decision, token, ...
    state.progress("closing-up")                  # Progress: counts, what is left
    state.sign_off("closing-up")                  # SignOffStatus: none, signed or stale, with why

    record.shown(job, item_id, by=..., photos=[...], key=...)
    record.decide(job, item_id, Agree(), by=..., saw=standing.token, key=...)
    record.undo(job, item_id, by=..., saw=standing.token, key=...)
    record.mark(job, mark, by=..., key=..., result={...})
    record.draw_blind(job, share=0.1, by=..., key=..., seed=None)
    record.judge_blind(job, item_id, "fault", by=..., key=...)
    record.sign_off(job, "closing-up", by=..., statement=..., signer=load_key(path, passphrase), key=...)

`key` is made by the client once for each thing a person did (a UUID): the same
key sent twice gives the first entry back and writes nothing. `saw` is the
`token` of the standing that was on screen; when the item stands otherwise by
now, `ConflictError` is raised with the present standing, and nothing is
written. Errors are in errors.py; all derive from `audit.errors.LidoffError`.
"""
