"""Thousands of recordings: which ones, worked out where, results kept so that a call goes on where one stopped.

``sources`` says which recordings a call means, ``work`` is what happens to one of them in whichever process,
``processes`` and ``cluster`` are the places where that happens, ``folder`` keeps each result under the recording's
digest and the engine's version, ``dataset`` makes Parquet of them. ``run.work_through`` ties these together.
"""
