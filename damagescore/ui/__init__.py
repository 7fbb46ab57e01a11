"""The app. Only this room, `app_pages/` and `app.py` know Streamlit."""
