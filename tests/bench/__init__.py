"""Speed, measured as ratios in one run:
ours against raw SQL, a bare COPY, a bare smtplib loop, a reference library."""
