"""The arithmetic of the toolkit: arrays in, arrays out, no tables and no campaign.

May import numpy, scipy and the error classes; knows nothing of briefs, designs or files. Each module is
used by its name, as in ``from toolkit.numeric import noncentral``; nothing is re-exported here.
"""
