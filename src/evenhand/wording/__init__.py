"""From codes and figures to the sentences of terminal, report and page: one place for each word."""
