def inspect_run(bench, run, rest): return []
def inspect_bench(bench, runs, rest, ledger): return []
