"""The table of blows as Parquet, for other programs: the columns of the CSV with every digit."""

import pandas as pd

from dyntest.names import column_header


def blows_parquet(table: pd.DataFrame) -> bytes:
    """Give the table of blows as the content of a Parquet file, the same bytes for the same table.

    Parameters
    ----------
    table : pandas.DataFrame
        One row a blow; columns are names in code.

    Returns
    -------
    bytes
        Columns titled as those of the CSV.

    Examples
    --------
    >>> import io
    >>> written = blows_parquet(pd.DataFrame({"blow": [7], "stroke": [2.5]}))
    >>> pd.read_parquet(io.BytesIO(written))["stroke [m]"].tolist()
    [2.5]
    """
    return table.rename(columns=column_header).to_parquet(index=False)
