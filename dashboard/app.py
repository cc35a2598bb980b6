"""Routing of the pages; run with ``dyntest dashboard``."""

if __name__ == "__main__":  # matching processes import this file too and must not run it
    from dyntest_dashboard.strip import route

    route()
