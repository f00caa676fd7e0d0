"""One thread for linear algebra, so that the last digits of a result do not depend on the number of cores.

The order in which a sum over threads is added up depends on their number. Cases are solved side by side in processes,
which is faster than threads inside a small matrix anyway. The limit holds for the whole process, from the import of the
solver on: a limit that ended with each call would end in the middle of another thread's call.
"""

import scipy.special  # noqa: F401  loads its own copy of the library, which must be there to be limited
from threadpoolctl import threadpool_limits

_LIMIT = threadpool_limits(1)
