"""Where the pages are routed to; run with ``dyntest dashboard``."""

if __name__ == "__main__":  # a process that matches blows loads this file too, and shall do nothing with it
    from dyntest_dashboard.strip import route

    route()
