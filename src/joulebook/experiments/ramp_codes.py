from joulebook.engine.experiment import FindingCode
__all__=["CODES"]
CODES: tuple[FindingCode, ...] = ()
